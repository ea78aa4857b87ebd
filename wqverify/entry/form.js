// The browser face of stepping through a visit: it draws a screen, sends an act, decides nothing, stores nothing.
// What stands in a sheet is drawn as text only. One act is under way at a time; the next leaves when it is
// acknowledged, so what is typed ahead reaches the question it was typed for.

const PATIENCE_MS = 800; // an answer that nobody acknowledged by then is called NOT SAVED: within a second of Enter
const LIFE_MS = 5000; // of a run: the kernel says each second that it works
const PING_MS = 1000;
const SETTLE_MS = 700; // what is begun sooner after a question came in between was not meant for it
const KEYS = new Set("!^_+/=*%@#~&?"); // no answer begins with one of these
const AFTER_A_BLANK = "An answer that begins with such a character is typed after a blank.";
const KEPT = "wqverify not saved: ";
const DRAFT = "wqverify half typed: ";
const HERE = "wqverify was at";

// A short name of its own for each view: with the number of an act it names the act.
function newName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(8)), (one) => one.toString(16).padStart(2, "0")).join("");
}

class Form extends Page {
  constructor(model, el) {
    super();
    this.model = model;
    this.view = newName();
    this.seq = 0;
    this.screen = null;
    this.queue = []; // what was typed and waits for its turn
    this.sent = null; // the act under way
    this.working = false; // the act under way is a run: acknowledged, and not over
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
      this.empty();
      this.take({ key: typed, shown: typed });
    }
    this.boxChanged();
  }

  boxChanged() {
    this.mark();
    if (this.screen?.sheet) this.store(DRAFT, this.box.value && { path: this.screen.path, text: this.box.value });
  }

  empty() {
    const text = this.box.value;
    this.box.value = "";
    this.boxChanged();
    return text;
  }

  enter() {
    const text = this.empty();
    this.refused = "";
    if (this.stale) this.drop([text]);
    else this.take({ text, shown: text || "(Enter)" });
    this.stale = false;
    this.box.focus({ preventScroll: true });
  }

  // A click belongs to the screen it was made on: it is never put in a queue, and the second of a double is none.
  click(event, item) {
    if (event.detail > 1 || this.sent || this.queue.length || this.deaf) return;
    this.forgetRefused();
    this.drop([this.empty()]);
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
      const words = `${item.key} does nothing here. ${AFTER_A_BLANK}`;
      show(this.part.notice, make("p", "told", words));
      this.interrupt(true); // "#7" typed as a text is not taken for 7
      return;
    }
    const text = item.choice ?? chosen(this.screen, item.text ?? "");
    this.refused = "";
    this.entered = key || item.choice !== undefined ? "" : item.text; // returned where it is refused
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
    this.post();
  }

  post() {
    if (!this.sent) return;
    this.count();
    this.wait(this.gone ? 0 : PATIENCE_MS);
    this.tell(this.sent);
  }

  wait(patience) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.alarm(true), this.working ? LIFE_MS : patience);
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
      this.forgetRefused();
      this.draw(message.screen); // another view of this form went on
    } else if (message.working) {
      this.reached(); // another view of this form runs something
    }
  }

  acknowledged(message) {
    clearTimeout(this.timer);
    this.reached();
    this.late = false;
    this.alarm(false);
    this.working = Boolean(message.working);
    if (this.working) {
      this.wait();
      show(this.part.notice, make("p", "told", "Working: every answer is on disk, the result is being made."));
      return;
    }
    const { sent, screen: before } = this;
    this.sent = null;
    this.forget();
    if (sent.do !== "show" && !message.screen.refused) this.dropped = null;
    if (sent.do === "help") message.screen.notice += `\n${AFTER_A_BLANK}`;
    this.draw(message.screen);
    if (sent.do !== "show" && (this.screen.kind !== "question" || this.screen.refused)) {
      const surprise = this.screen.refused || (before.kind === "question" && sent.do === "answer");
      this.interrupt(surprise);
    }
    if (sent.do === "answer" && this.screen.refused && this.screen.path === before.path) this.giveBack();
    this.next();
  }

  // What was refused stands in the box again, selected: typing replaces it, an arrow key edits it.
  giveBack() {
    if (!this.entered || this.box.value) return;
    this.refused = this.box.value = this.entered;
    this.box.select();
    this.mark();
  }

  forgetRefused() {
    if (this.refused && this.box.value === this.refused) this.empty();
    this.refused = "";
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
    let [first, told] = ["NO ANSWER from the kernel", "What is typed now is not saved."];
    if (this.working) {
      first = `NO SIGN OF LIFE from the kernel for ${LIFE_MS / 1000} s`;
      told = "Whether the run was finished is seen when the form is open again.";
    } else if (lost) {
      [first, told] = [`NOT SAVED: ${this.sentShown}`, "It is kept here and is offered again."];
    }
    const waiting = this.queue.map((one) => one.shown).join(", ");
    const again = make("button", "again", "Send again");
    again.type = "button";
    again.addEventListener("click", () => this.post());
    show(
      this.part.alert,
      make("strong", "", first),
      waiting && make("p", "", `Typed ahead and waiting: ${waiting}`),
      make("p", "", told),
      make("p", "", "If this stays, run the cell again: Shift+Enter. Everything acknowledged before is on disk."),
      this.sent && again,
    );
    if (late) this.part.alert.scrollIntoView({ block: "nearest" });
  }

  count() {
    if (this.sent) this.keep();
    this.root.dataset.open = String(this.queue.length + (this.sent ? 1 : 0));
  }

  // -- what was sent and not acknowledged outlives the kernel, in this window ------------------------------

  store(name, value) {
    const key = name + this.screen.sheet;
    if (value) sessionStorage.setItem(key, JSON.stringify(value));
    else sessionStorage.removeItem(key);
  }

  recall(name) {
    const kept = JSON.parse(sessionStorage.getItem(name + this.screen.sheet));
    this.store(name, null);
    return kept;
  }

  keep() {
    if (this.sent.do === "show" || !this.screen?.sheet) return;
    const { heading, label } = this.screen;
    const where = [heading, label].filter(Boolean).join(", ");
    const waiting = this.queue.map((one) => one.shown);
    this.store(KEPT, { ...this.sent, shown: this.sentShown, where, waiting });
  }

  forget() {
    if (this.screen?.sheet) this.store(KEPT, null);
  }

  lookBack() {
    if (!this.screen.sheet || this.looked.has(this.screen.sheet)) return;
    this.looked.add(this.screen.sheet);
    const [kept, draft] = [this.recall(KEPT), this.recall(DRAFT)];
    const told = [];
    if (kept && kept.path === this.screen.path && kept.do === "answer" && !this.box.value) {
      this.again = kept;
      this.box.value = kept.text;
      told.push(`Not saved before: ${kept.shown}. Enter sends it again.`);
    } else if (kept) {
      told.push(`Not acknowledged before: ${kept.shown} (${kept.where}). See whether it is there.`);
    }
    const lost = [...(kept?.waiting ?? [])];
    if (draft && draft.path === this.screen.path && !this.box.value) this.box.value = draft.text;
    else if (draft) lost.push(draft.text);
    if (lost.length) told.push(`Typed ahead and not stored: ${lost.join(", ")}`);
    if (told.length) show(this.part.dropped, ...told.map((text) => make("p", "", text)));
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
}

export default {
  render({ model, el }) {
    const form = new Form(model, el);
    return () => form.close();
  },
};
