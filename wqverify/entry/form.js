// The browser face of stepping through a visit: it draws a screen, sends an act, decides nothing, stores nothing.
// What stands in a sheet is drawn as text only. One act is under way at a time; the next leaves when it is
// acknowledged, so what is typed ahead reaches the question it was typed for.

const PATIENCE_MS = 800; // an answer that nobody acknowledged by then is called NOT SAVED: within a second of Enter
const PING_MS = 1000;
const SETTLE_MS = 700; // what is begun sooner after a question came in between was not meant for it
const KEYS = new Set("!^_+/=*%@#~&?"); // no answer begins with one of these
const KEPT = "wqverify not saved: ";
const HERE = "wqverify was at";
const LISTS = ["numbers", "texts", "notes"];
const NAMED = ["last time", "to correct"]; // lines whose text does not say what it is

// A short name of its own for each view: with the number of an act it names the act.
function newName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(8)), (one) => one.toString(16).padStart(2, "0")).join("");
}

// As wqverify.entry.screen.chosen: a typed number is that of a choice, except where a number is asked.
function chosen(screen, typed) {
  if (isNumber(screen) || !/^[0-9]+$/.test(typed)) return typed;
  return screen.choices[Number(typed) - 1]?.text ?? typed;
}

function isNumber(screen) {
  return ["number", "numbers"].includes(screen.form);
}

class Form {
  constructor(model, el) {
    this.model = model;
    this.view = newName();
    this.seq = 0;
    this.screen = null;
    this.queue = []; // what was typed and waits for its turn
    this.sent = null; // the act under way
    this.late = false; // the act under way was not acknowledged in time
    this.gone = false; // the kernel does not answer
    this.pinged = 0;
    this.deaf = false; // a question came in between: what is typed blindly was meant for another one
    this.stale = false; // what is in the box was begun for the question before
    this.again = null; // an act that was not saved before the form was opened anew
    this.looked = new Set(); // sheets whose unsaved text was looked for
    this.build(el);
    this.hear = (message) => this.heard(message);
    model.on("msg:custom", this.hear);
    this.beat = setInterval(() => this.ping(), PING_MS);
    this.send({ do: "show", text: "", path: "" });
  }

  close() {
    clearInterval(this.beat);
    clearTimeout(this.timer);
    clearTimeout(this.settling);
    this.model.off("msg:custom", this.hear);
  }

  // -- what stays on the page ------------------------------------------------------------------------------

  build(el) {
    const part = {};
    const names = ["held", "title", "alert", "cautions", "notice", "dropped", "help", "proposal"];
    for (const name of [...names, "choices", "sections", "standing", "lines", "trace", "text", "page", "sheet", "keys"]) {
      part[name] = make("div", name);
      part[name].hidden = true;
    }
    part.alert.setAttribute("role", "alert");
    part.notice.setAttribute("role", "status");
    part.dropped.setAttribute("role", "status");
    part.heading = make("h2", "heading");
    part.heading.tabIndex = -1;
    part.label = make("label", "label");
    part.unit = make("span", "unit");
    part.enter = make("button", "enter", "Enter");
    part.enter.type = "button";
    this.box = make("input", "box");
    const asTyped = { type: "text", autocomplete: "off", autocapitalize: "off", autocorrect: "off", spellcheck: "false" };
    for (const [name, value] of Object.entries(asTyped)) this.box.setAttribute(name, value);
    this.box.id = `wqv-${this.view}`;
    part.label.htmlFor = this.box.id;
    part.row = make("div", "row", "", this.box, part.unit, part.enter);
    const asked = make("div", "asked", "", part.label, part.help, part.cautions, part.notice, part.dropped, part.row);
    asked.append(part.proposal, part.choices, part.sections, part.trace, part.standing);
    const beside = make("div", "beside", "", part.lines);
    this.part = part;
    this.root = make("div", "", "", part.held, part.title, part.alert, part.heading);
    this.root.className = "wqv";
    this.root.dataset.settled = "true";
    this.root.append(part.text, part.page, make("div", "body", "", asked, beside), part.sheet, part.keys);
    this.root.dataset.lmSuppressShortcuts = "true";
    this.root.addEventListener("keydown", (event) => this.pressed(event));
    this.box.addEventListener("input", (event) => this.typed(event));
    part.enter.addEventListener("click", (event) => event.detail < 2 && this.enter());
    el.append(this.root);
    this.count();
  }

  // -- what a person does ----------------------------------------------------------------------------------

  pressed(event) {
    const runs = event.key === "Enter" && event.shiftKey; // runs the cell again, once the kernel is gone
    if (runs && (this.late || this.gone)) return;
    event.stopPropagation(); // Lab would take the keys for its own
    if (event.repeat && ["Enter", " "].includes(event.key)) {
      event.preventDefault(); // a key held down is one press
    } else if (event.target === this.box) {
      if (event.key === "Enter" && !event.isComposing) {
        event.preventDefault();
        this.enter();
      }
    } else if (event.key.length === 1 && event.key !== " " && !(event.ctrlKey || event.metaKey || event.altKey)) {
      this.box.focus(); // typing goes into the box wherever the focus is
    }
  }

  typed(event) {
    const typed = this.box.value;
    this.stale = Boolean(typed) && (this.stale || this.deaf);
    if (typed.length === 1 && KEYS.has(typed) && !event.inputType?.startsWith("insertFrom")) {
      const known = this.screen?.keys.some((key) => key.key === typed);
      if (known || this.sent) {
        this.box.value = "";
        this.take({ key: typed, shown: typed });
      }
    }
    this.mark();
  }

  enter() {
    const text = this.box.value;
    this.box.value = "";
    this.mark();
    if (this.stale) this.drop([text]);
    else this.take({ text, shown: text || "(Enter)" });
    this.stale = false;
    this.box.focus({ preventScroll: true });
  }

  // A click belongs to the screen it was made on: it is never put in a queue, and the second of a double is none.
  click(event, item) {
    if (event.detail > 1 || this.sent || this.queue.length || this.deaf) return;
    const left = this.box.value;
    this.box.value = "";
    if (left && !this.again) this.drop([left]);
    this.touched = event.detail > 0 && matchMedia("(pointer: coarse)").matches;
    this.take(item);
  }

  take(item) {
    if (this.deaf) {
      this.drop([item.shown]);
      this.settle();
      return;
    }
    this.queue.push(item);
    this.next();
  }

  drop(texts) {
    const told = texts.filter(Boolean);
    if (!told.length) return;
    this.dropped = [...(this.dropped ?? []), ...told];
    show(this.part.dropped, make("p", "", `Typed ahead and not stored: ${this.dropped.join(", ")}`));
    this.count();
  }

  // -- messages --------------------------------------------------------------------------------------------

  next() {
    this.count();
    if (this.sent || !this.screen || !this.queue.length) return;
    const item = this.queue.shift();
    const key = item.key && this.screen.keys.find((one) => one.key === item.key);
    if (item.key && !key) {
      this.drop([item.shown, ...this.queue.splice(0).map((one) => one.shown)]);
      return;
    }
    const text = item.choice ?? chosen(this.screen, item.text ?? "");
    const act = key ? { do: key.do, text: "" } : { do: "answer", text };
    const shown = key ? key.label || key.do : item.shown;
    this.send({ ...act, path: this.screen.path }, shown);
  }

  send(act, shown = "") {
    const repeated = this.again && this.again.path === act.path && this.again.do === act.do && this.again.text === act.text;
    const name = repeated ? { view: this.again.view, seq: this.again.seq } : { view: this.view, seq: ++this.seq };
    if (act.do !== "show") this.again = null;
    this.sent = { ...act, ...name };
    this.sentShown = shown;
    this.keep();
    this.post();
  }

  post() {
    this.count();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.alarm(true), this.gone ? 0 : PATIENCE_MS);
    this.tell(this.sent);
  }

  tell(message) {
    try {
      this.model.send(message);
    } catch (problem) {
      console.warn("wqverify: the message did not leave", problem);
      this.gone = true;
      this.alarm(Boolean(this.sent));
    }
  }

  heard(message) {
    if (message.pong) {
      if (message.pong === this.view) this.reached();
    } else if (this.sent && message.view === this.sent.view && message.seq === this.sent.seq) {
      this.acknowledged(message);
    } else if (message.screen && !this.sent) {
      this.draw(message.screen); // another view of this form went on
    }
  }

  acknowledged(message) {
    clearTimeout(this.timer);
    this.reached();
    this.late = false;
    this.alarm(false);
    if (message.working) {
      show(this.part.notice, make("p", "", "Working: every answer is on disk, the result is being made."));
      return;
    }
    const { sent, screen: before } = this;
    this.sent = null;
    this.forget();
    if (sent.do !== "show" && !message.screen.refused) this.dropped = null;
    this.draw(message.screen);
    if (sent.do !== "show" && (this.screen.kind !== "question" || this.screen.refused)) {
      const surprise = this.screen.refused || (before.kind === "question" && sent.do === "answer");
      this.interrupt(surprise);
    }
    this.next();
  }

  // A refusal or a question in between: what was typed ahead was typed for something else.
  interrupt(surprise) {
    const waiting = this.queue.splice(0).map((one) => one.shown);
    this.drop(waiting);
    if (!surprise && !waiting.length) return;
    this.stale = Boolean(this.box.value);
    this.settle();
  }

  settle() {
    this.deaf = true;
    this.root.dataset.settled = "false";
    clearTimeout(this.settling);
    this.settling = setTimeout(() => {
      this.deaf = false;
      this.root.dataset.settled = "true";
    }, SETTLE_MS);
  }

  ping() {
    if (this.sent || document.hidden) return;
    if (this.pinged && performance.now() - this.pinged > PING_MS * 0.9) {
      this.gone = true;
      this.alarm(false);
    }
    if (!this.pinged) this.pinged = performance.now();
    this.tell({ do: "ping", view: this.view });
  }

  reached() {
    this.pinged = 0;
    if (!this.gone) return;
    this.gone = false;
    this.alarm(this.late && Boolean(this.sent));
  }

  alarm(late) {
    this.late = late;
    const lost = late && this.sent && this.sent.do !== "show";
    this.root.toggleAttribute("data-lm-suppress-shortcuts", !(late || this.gone)); // Shift+Enter is Lab's again
    if (!late && !this.gone) return show(this.part.alert);
    const first = lost ? `NOT SAVED: ${this.sentShown}` : "NO ANSWER from the kernel";
    const waiting = this.queue.map((one) => one.shown).join(", ");
    const again = make("button", "again", "Send again");
    again.type = "button";
    again.addEventListener("click", () => this.post());
    show(
      this.part.alert,
      make("strong", "", first),
      waiting && make("p", "", `Typed ahead and waiting: ${waiting}`),
      make("p", "", lost ? "It is kept here and is offered again." : "What is typed now is not saved."),
      make("p", "", "If this stays, run the cell again: Shift+Enter. Everything acknowledged before is on disk."),
      this.sent && again,
    );
    if (late) this.part.alert.scrollIntoView({ block: "nearest" });
  }

  count() {
    this.root.dataset.open = String(this.queue.length + (this.sent ? 1 : 0));
  }

  // -- what was sent and not acknowledged outlives the kernel, in this window ------------------------------

  keep() {
    if (this.sent.do === "show" || !this.screen?.sheet) return;
    const kept = { ...this.sent, shown: this.sentShown, heading: this.screen.heading, label: this.screen.label };
    sessionStorage.setItem(KEPT + this.screen.sheet, JSON.stringify(kept));
  }

  forget() {
    if (this.screen?.sheet) sessionStorage.removeItem(KEPT + this.screen.sheet);
  }

  lookBack() {
    const sheet = this.screen.sheet;
    if (!sheet || this.looked.has(sheet)) return;
    this.looked.add(sheet);
    const text = sessionStorage.getItem(KEPT + sheet);
    if (!text) return;
    sessionStorage.removeItem(KEPT + sheet);
    const kept = JSON.parse(text);
    const where = [kept.heading, kept.label].filter(Boolean).join(", ");
    if (kept.path === this.screen.path && kept.do === "answer" && !this.box.value) {
      this.again = kept;
      this.box.value = kept.text;
      show(this.part.dropped, make("p", "", `Not saved before: ${kept.shown}. Enter sends it again.`));
    } else {
      show(this.part.dropped, make("p", "", `Not acknowledged before: ${kept.shown} (${where}). See whether it is there.`));
    }
  }

  // A kernel that was killed does not know the sheet any more: this window goes on with the one it was at.
  resume(first) {
    const { sheet, kind, choices } = this.screen;
    const was = sessionStorage.getItem(HERE);
    if (sheet && kind !== "end") sessionStorage.setItem(HERE, sheet);
    else sessionStorage.removeItem(HERE);
    const again = first && !sheet && was && choices.find((one) => one.text.split(/[\\/]/).pop() === was);
    if (again) this.take({ choice: again.text, shown: was });
  }

  // -- drawing ---------------------------------------------------------------------------------------------

  draw(screen) {
    const before = this.screen;
    if (!screen.choices.length) screen.choices = screen.sections.map((one) => ({ text: one.path, label: "", note: "" }));
    const moved = !before || before.path !== screen.path || before.kind !== screen.kind || before.sheet !== screen.sheet;
    this.screen = screen;
    const { part, root } = this;
    Object.assign(root.dataset, { kind: screen.kind, path: screen.path, form: screen.form, refused: String(screen.refused) });
    show(part.held, screen.held && make("p", "", screen.held));
    const state = [screen.sheet, screen.state].filter(Boolean).join(" · ");
    const place = screen.place && make("span", "place", screen.place);
    show(part.title, make("strong", "", screen.title), place, state && make("span", "state", state));
    part.heading.textContent = screen.heading || screen.label || screen.title;
    part.label.textContent = screen.label;
    part.label.hidden = !screen.label || screen.label === part.heading.textContent;
    this.box.setAttribute("aria-label", [screen.heading, screen.label, screen.unit].filter(Boolean).join(", "));
    part.unit.textContent = screen.unit;
    show(part.help, screen.help && make("p", "", screen.help));
    show(part.cautions, ...screen.cautions.map((text) => make("p", "", "", make("strong", "", "Caution: "), text)));
    const refusal = screen.notice && screen.refused && make("strong", "", "Not taken: ");
    show(part.notice, screen.notice && make("p", screen.refused ? "refused" : "told", "", refusal || "", screen.notice));
    if (!this.dropped) show(part.dropped);
    this.drawBox(screen);
    this.drawChoices(screen);
    const stands = LISTS.includes(screen.form) ? "So far" : "Here stands";
    show(part.standing, screen.standing.length && make("p", "", `${stands}: ${newest(screen.standing)}`));
    show(part.lines, ...screen.lines.map((line) => this.line(line)));
    show(part.trace, screen.trace && screen.trace.values.length && trace(screen.trace));
    const [table, ...next] = screen.text.split(/\n+(?=Next: )/);
    show(part.text, table && make("pre", "", table), ...next.map((text) => make("p", "told", text)));
    this.drawPage(screen.page);
    show(part.keys, ...screen.keys.map((key) => this.key(key)));
    root.dataset.beside = String(!part.lines.hidden);
    this.lookBack();
    this.mark();
    this.resume(!before);
    requestAnimationFrame(() => this.follow(moved, !before)); // the first draw comes before the form is attached
  }

  drawBox(screen) {
    const { part } = this;
    part.row.hidden = !(screen.form || screen.choices.length || screen.keys.length);
    const number = isNumber(screen);
    this.box.inputMode = number ? "decimal" : "text";
    this.box.placeholder = screen.choices.length && !number ? numbers(screen.choices.length) : "";
    show(part.proposal, ...this.emptyAnswer(screen));
  }

  // What Enter on the empty box stands for.
  emptyAnswer(screen) {
    const enter = (...words) => [make("p", "", "", make("kbd", "", "Enter"), ...words)];
    if (screen.proposal) {
      const from = screen.proposed ? ` (${screen.proposed})` : "";
      return enter(" takes ", make("strong", "", screen.proposal), from);
    }
    if (LISTS.includes(screen.form) && screen.standing.length) return enter(" on the empty box ends the list");
    const nothing = screen.choices.find((choice) => !choice.text);
    if (nothing) return enter(` on the empty box: ${nothing.label}`);
    return screen.required || screen.kind !== "question" ? [] : enter(" on the empty box leaves it out");
  }

  drawPage(path) {
    const { page, sheet } = this.part;
    if (page.dataset.path === path) return; // drawn already
    page.dataset.path = path;
    const url = fileUrl(path);
    show(page, path && link(path, url));
    show(sheet, path && picture(url));
  }

  drawChoices(screen) {
    const states = new Map(screen.sections.map((one) => [one.path, one]));
    const button = (choice, index) => {
      const section = states.get(choice.text);
      states.delete(choice.text);
      const label = section?.label || this.named(choice, screen);
      const node = make("button", "choice", "", make("kbd", "", String(index + 1)), make("span", "name", label));
      if (isNumber(screen)) node.firstChild.remove(); // a number typed there is the reading
      const note = [choice.note, section?.state].filter(Boolean).join(", ");
      if (section?.state === "now") node.dataset.now = "true";
      if (note) node.append(make("span", "note", note));
      node.type = "button";
      node.dataset.text = choice.text;
      node.addEventListener("click", (event) => this.click(event, { choice: choice.text, shown: label }));
      return node;
    };
    show(this.part.choices, ...screen.choices.map(button));
    this.part.choices.dataset.many = String(screen.choices.length > 5);
    const row = (one) => make("p", "section", "", make("span", "name", one.label), make("span", "note", one.state));
    show(this.part.sections, ...[...states.values()].map(row));
  }

  // Elsewhere than on a question the text of a choice is a word between the engine and its face.
  named(choice, screen) {
    const label = choice.label || choice.text;
    if (screen.kind !== "question" || label.toLowerCase().includes(choice.text.toLowerCase())) return label;
    return `${choice.text}: ${label}`;
  }

  line(line) {
    const named = NAMED.includes(line.kind) && !line.text.startsWith(line.kind);
    const node = make("p", "line", named ? `${line.kind}: ${line.text}` : line.text);
    node.dataset.kind = line.kind;
    return node;
  }

  key(key) {
    const node = make("button", "key", "", make("kbd", "", key.key), make("span", "", key.label || key.do));
    node.type = "button";
    node.dataset.do = key.do;
    node.addEventListener("click", (event) => this.click(event, { key: key.key, shown: key.label || key.do }));
    return node;
  }

  // Mark the choice whose number or text stands in the box.
  mark() {
    const wanted = this.screen && this.box.value ? chosen(this.screen, this.box.value) : null;
    for (const node of this.part.choices.children) node.classList.toggle("wqv-chosen", node.dataset.text === wanted);
  }

  // Focus and scroll go to a new question, unless the person works elsewhere on the page.
  follow(moved, first) {
    const here = first || this.root.contains(document.activeElement) || document.activeElement === document.body;
    if (!here) return;
    if (moved) this.root.scrollIntoView({ block: "start" });
    const keyboardless = this.touched && this.screen.choices.length; // a screen keyboard would cover the choices
    const target = this.part.row.hidden || keyboardless ? this.part.heading : this.box;
    target.focus({ preventScroll: true });
    if (this.again && target === this.box) this.box.select();
  }
}

export default {
  render({ model, el }) {
    const form = new Form(model, el);
    return () => form.close();
  },
};
