// What of the form stays on the page, and how a screen is drawn on it; what is done there is told to form.js.

const LISTS = ["numbers", "texts", "notes"];
const NAMED = ["last time", "to correct"]; // lines whose text does not say what it is

// As wqverify.entry.screen.chosen: a typed number is that of a choice, except where a number is asked, or where the
// person sees a choice whose own text it is, such as the bottle 12.
function chosen(screen, typed) {
  if (isNumber(screen) || !/^[0-9]+$/.test(typed)) return typed;
  const own = screen.choices.filter((one) => one.text === typed);
  if (own.some((one) => screen.kind === "question" || beginsWith(one.label || one.text, typed))) return typed;
  return screen.choices[Number(typed) - 1]?.text ?? typed;
}

function beginsWith(label, text) {
  return label.toLowerCase().startsWith(text.toLowerCase()) && " ,:;".includes(label.slice(text.length, text.length + 1));
}

// Whether a label says the text of its choice in words; an id it must begin with.
function says(label, text) {
  if (/\p{Nd}/u.test(text)) return beginsWith(label, text);
  const words = (some) => some.toLowerCase().match(/[\p{L}\p{N}]+/gu) ?? [];
  const told = words(label);
  let from = 0;
  return words(text).every((word) => (from = told.indexOf(word, from) + 1));
}

function isNumber(screen) {
  return ["number", "numbers"].includes(screen.form);
}

class Page {
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
    part.sign = make("button", "sign", "−"); // a tablet's keys for numbers may lack it
    part.sign.type = "button";
    part.sign.setAttribute("aria-label", "minus");
    part.row = make("div", "row", "", part.sign, this.box, part.unit, part.enter);
    const asked = make("div", "asked", "", part.label, part.help, part.cautions, part.notice, part.dropped, part.row);
    asked.append(part.proposal, part.sections, part.trace, part.standing);
    const beside = make("div", "beside", "", part.lines);
    this.part = part;
    this.root = make("div", "", "", part.held, part.title, part.alert, part.heading);
    this.root.className = "wqv";
    this.root.dataset.settled = "true";
    this.root.append(part.text, part.page, make("div", "body", "", asked, part.choices, beside), part.sheet, part.keys);
    this.root.dataset.lmSuppressShortcuts = "true";
    this.root.addEventListener("keydown", (event) => this.pressed(event));
    this.box.addEventListener("input", (event) => this.typed(event));
    part.sign.addEventListener("click", () => this.minus());
    part.enter.addEventListener("click", (event) => event.detail < 2 && this.enter());
    el.append(this.root);
    this.count();
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
    const refusal = screen.refused && !screen.notice.startsWith("NOT SAVED") && make("strong", "", "Not taken: ");
    const notice = screen.notice.replaceAll("\\'", "'"); // as Python quotes a text that holds both kinds of quotes
    show(part.notice, notice && make("p", screen.refused ? "refused" : "told", "", refusal || "", notice));
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
    part.sign.hidden = !number || !matchMedia("(pointer: coarse)").matches;
    this.box.inputMode = number ? "decimal" : "text";
    this.box.placeholder = screen.choices.length && !number ? numbers(screen.choices.length) : "";
    show(part.proposal, ...this.emptyAnswer(screen));
  }

  minus() {
    const text = this.box.value;
    this.box.value = text.startsWith("-") ? text.slice(1) : `-${text}`;
    this.boxChanged();
    this.box.focus({ preventScroll: true });
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
      // A number typed there is the reading, or it means a choice whose own text it is.
      if (isNumber(screen) || chosen(screen, String(index + 1)) !== choice.text) node.firstChild.remove();
      const note = [choice.note, section?.state].filter(Boolean).join(", ");
      if (note) node.append(make("span", "note", note));
      node.type = "button";
      node.dataset.text = choice.text;
      node.addEventListener("click", (event) => this.click(event, { choice: choice.text, shown: label }));
      return node;
    };
    show(this.part.choices, ...screen.choices.map(button));
    this.root.dataset.many = String(screen.choices.length > 5);
    const row = (one) => make("p", "section", "", make("span", "name", one.label), make("span", "note", one.state));
    show(this.part.sections, ...[...states.values()].map(row));
  }

  // Elsewhere than on a question the text of a choice is a word between the engine and its face.
  named(choice, screen) {
    const label = choice.label || choice.text;
    if (screen.kind !== "question" || says(label, choice.text)) return label;
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
