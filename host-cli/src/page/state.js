// What is tried: one or two variants, each a site file's text with its history. All edits go through the engine, which
// changes the text and keeps its comments; the newest edit wins, and the text of the last answer is the truth.

/** Runs of a coarse answer. */
const COARSE = 2000;
/** Rest after the last change before the full answer is asked for. */
const REST_MS = 250;

class Variant {
  constructor(label, text, file) {
    this.label = label;
    this.file = file;
    this.text = text;
    this.past = [];
    this.future = [];
    /** The newest answer, coarse or full. */
    this.answer = null;
    /** The newest full answer of the text as it stands. */
    this.full = null;
    this.controls = null;
    this.edits = null;
    /** Rises with each change that is no edit: answers to older texts are dropped. */
    this.age = 0;
    /** Whether no full answer belongs to the text as it stands, and whether a coarse one was asked for. */
    this.stale = true;
    this.coarseDone = false;
    /** Whether the controls are older than the text, since a drag asks for none. */
    this.controlsLate = false;
    /** The file as it was opened or saved last: its text, and its controls once they are known. */
    this.base = { text, controls: null };
  }

  /** Takes an answer's controls; those of the file as it stands on the disk are kept to compare with. */
  took(answer) {
    if (!answer.controls) return;
    this.controls = answer.controls;
    if (answer.site === this.base.text) this.base.controls = answer.controls;
  }

  /** The control of a value in the file, where it is not what the value is now. */
  inFile(control) {
    const was = this.base.controls?.find((one) => one.key === control.key);
    if (!was || !(was.stated || control.stated)) return null;
    const same = (one) => JSON.stringify([one.stated, one.shown, one.rows ?? null]);
    return same(was) === same(control) ? null : was;
  }

  remember(what) {
    // An edit whose answer is still under way began from the same text: both are one step.
    const last = this.past.at(-1);
    if (last?.text === this.text) {
      if (!last.what.split(", ").includes(what)) last.what += `, ${what}`;
      this.future.length = 0;
      return;
    }
    this.past.push({ text: this.text, what });
    if (this.past.length > 200) this.past.shift();
    this.future.length = 0;
  }
}

class Bench {
  constructor(engine, begin, show) {
    this.engine = engine;
    this.show = show;
    this.variants = [new Variant("A", begin.site, begin.file)];
    this.at = 0;
    this.pictures = () => null;
    this.dragging = false;
    this.timer = 0;
    this.busy = false;
    this.fullRun = 0;
    this.timing = { asked: 0, shown: 0 };
  }

  get now() {
    return this.variants[this.at];
  }

  /** An edit of the variant at hand; `what` names it in the history, null goes on with the gesture before. */
  edit(edit, what) {
    const variant = this.now;
    if (what !== null) variant.remember(what);
    variant.edits ??= { set: {}, unset: [] };
    // A key set again goes to the end, as the last word.
    for (const [key, value] of Object.entries(edit.set ?? {})) {
      delete variant.edits.set[key];
      variant.edits.set[key] = value;
      variant.edits.unset = variant.edits.unset.filter((other) => other !== key);
    }
    for (const key of edit.unset ?? []) {
      delete variant.edits.set[key];
      variant.edits.unset.push(key);
    }
    this.touched(variant);
  }

  replace(text, what, file) {
    const variant = this.now;
    variant.remember(what);
    if (file) {
      variant.file = file;
      variant.base = { text, controls: null };
      // Another file's figures are no change of this one's.
      variant.whole = null;
      variant.changed = undefined;
    }
    this.put(variant, text);
  }

  put(variant, text) {
    variant.text = text;
    variant.edits = null;
    variant.age += 1;
    this.touched(variant);
  }

  back() {
    return this.travel(this.now.past, this.now.future);
  }

  forth() {
    return this.travel(this.now.future, this.now.past);
  }

  travel(from, to) {
    const step = from.pop();
    if (!step) return null;
    to.push({ text: this.now.text, what: step.what });
    this.put(this.now, step.text);
    return step.what;
  }

  split() {
    const own = this.now;
    const other = new Variant("B", own.text, own.file.replace(/(\.toml)?$/i, "-b$1"));
    other.answer = own.answer;
    other.full = own.full;
    other.controls = own.controls;
    other.base = own.base;
    other.stale = own.stale;
    this.variants.push(other);
    this.at = 1;
    if (other.stale) this.touched(other);
    this.show.all();
  }

  /** Keeps the variant at hand alone. */
  join() {
    this.variants = [this.now];
    this.at = 0;
    this.show.all();
    this.later();
  }

  choose(index) {
    this.at = index;
    this.show.all();
  }

  touched(variant) {
    variant.stale = true;
    variant.coarseDone = false;
    variant.full = null;
    clearTimeout(this.timer);
    if (this.fullRun) {
      this.fullRun = 0;
      this.engine.drop("full");
    }
    this.show.waiting();
    this.pump();
  }

  /** Asks for a coarse answer if none is under way; what changes meanwhile is asked for next. */
  async pump() {
    if (this.busy) return;
    const variant = this.variants.find((one) => one.edits || (one.stale && !one.coarseDone));
    if (!variant) return this.later();
    this.busy = true;
    const { age, edits } = variant;
    variant.edits = null;
    variant.coarseDone = true;
    const light = this.dragging;
    const request = {
      site: variant.text,
      file: variant.file,
      set: edits?.set ?? {},
      unset: edits?.unset ?? [],
      samples: COARSE,
      coarse: true,
      pictures: this.pictures(variant),
      want: light ? ["results", "pictures"] : ["controls", "results", "pictures"],
    };
    this.timing.asked = performance.now();
    try {
      const answer = await this.engine.ask("coarse", request);
      if (answer.error) throw new Error(answer.error);
      if (variant.age === age) {
        variant.text = answer.site;
        variant.answer = { ...answer, coarse: true };
        variant.took(answer);
        variant.controlsLate = light;
        this.show.answered(variant, variant.answer);
        this.timing.shown = performance.now();
      }
    } catch (error) {
      // The edit is not lost: it is taken up again with the next one.
      if (variant.age === age && edits) {
        variant.edits = { set: { ...edits.set, ...(variant.edits?.set ?? {}) }, unset: [...edits.unset, ...(variant.edits?.unset ?? [])] };
      }
      this.busy = false;
      this.show.broken(error);
      return;
    }
    this.busy = false;
    if (variant.edits) variant.coarseDone = false;
    this.pump();
  }

  /** The full answer, once nothing has changed for a while. */
  later() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.fill(), REST_MS);
  }

  async fill() {
    if (this.dragging || this.busy || this.fullRun) return;
    const variant = [this.now, ...this.variants].find((one) => one.stale || one.controlsLate);
    if (!variant) return;
    const run = (this.fullRun = performance.now());
    const { age, text } = variant;
    this.show.filling(variant);
    try {
      const answer = await this.engine.ask("full", { site: text, file: variant.file, want: ["controls", "results", "pictures"] });
      if (this.fullRun !== run) return;
      this.fullRun = 0;
      if (answer.error) throw new Error(answer.error);
      if (variant.age === age && variant.text === text && !variant.edits) {
        variant.answer = answer;
        variant.full = answer;
        variant.took(answer);
        variant.controlsLate = false;
        variant.stale = false;
        this.timing.full = performance.now() - run;
        this.show.answered(variant, answer);
      }
      this.later();
    } catch (error) {
      if (this.fullRun !== run && this.fullRun !== 0) return;
      if (/dropped|abort/i.test(`${error.name} ${error.message}`)) return;
      this.fullRun = 0;
      this.show.broken(error);
    }
  }
}
