// What was computed, as it is shown: pictures, limits, figures, findings.

const SIGNS = { stop: "■ Stop:", caution: "▲ Caution:", note: "○ Note:" };
/** Pictures that can be kept in view while a value changes. */
const KEPT = [["side", "Side view"], ["near", "Flight and bag"], ["above", "Plan view"], ["touch", "Touch-down"], ["scale", "Pressure scale"], ["descent", "Ride down"], ["short", "Short zone"], ["cut", "Power cut"], ["blower", "Blowers"], ["shares", "Shares of the spread"], ["effects", "Effects"], ["ground-side", "Ground, side"], ["ground-plan", "Ground, plan"]];
const SHORT = ["lip_speed", "along", "miss", "depth"];

/** The drawing with names of its own, so that the same picture can stand twice on the page. */
function drawing(svg, prefix) {
  const own = svg
    .replace(/ id="([^"]+)"/g, ` id="${prefix}$1"`)
    .replace(/ aria-labelledby="([^"]+)"/g, (_, names) => ` aria-labelledby="${names.split(" ").map((name) => prefix + name).join(" ")}"`)
    .replace(/url\(#/g, `url(#${prefix}`)
    .replace(/href="#/g, `href="#${prefix}`);
  const box = document.createElement("template");
  // Written by the program itself, which leaves no markup in what a site file says.
  box.innerHTML = own;
  return box.content;
}

function tableOf({ caption, head, rows }, kind) {
  const body = rows.map((cells) => make("tr", {}, ...cells.map((cell, i) => (i === 0 ? make("th", { scope: "row" }, cell) : make("td", {}, cell)))));
  const table = make("table", { class: kind }, make("caption", {}, caption), make("thead", {}, make("tr", {}, ...head.map((cell) => make("th", { scope: "col" }, cell)))), make("tbody", {}, ...body));
  return make("div", { class: "table", tabindex: "0", role: "region", "aria-label": caption }, table);
}

function legendOf(legend) {
  const shapes = {
    circle: ["landing", "middle"],
    cross: ["missed"],
    rect: ["band", "hump", "maker", "bar-along", "bar-across", "field-area", "best"],
  };
  const sample = (name) => {
    if (shapes.circle.includes(name)) return `<circle class="${name}" cx="17" cy="8" r="3"/>`;
    if (shapes.cross.includes(name)) return `<path class="${name}" d="M13 4L21 12M13 12L21 4"/>`;
    if (shapes.rect.includes(name)) return `<rect class="${name}" x="2" y="2" width="30" height="12"/>`;
    return `<polyline class="line ${name}" points="1,8 33,8"/>`;
  };
  return make("ul", { class: "legend" }, ...legend.map(([name, words]) => make("li", {}, drawing(`<svg viewBox="0 0 34 16" aria-hidden="true" focusable="false">${sample(name)}</svg>`, ""), make("span", {}, words))));
}

/** What another full answer has changed: texts of figures, limits and sentences as they were before it. */
function changes(variant, answer) {
  const figures = new Map(answer.figures.map((figure) => [figure.id, figure]));
  const limits = new Map(answer.limits.map((limit) => [limit.what, limit.now]));
  const lines = new Set(answer.first.lines.map((line) => line.join(" ")));
  const before = variant.whole;
  variant.whole = { text: answer.site, figures, limits, lines };
  if (!before) return;
  // The same text again changes nothing, and what was marked stays so.
  if (before.text === answer.site) return;
  const differs = (now, was, text) => [...now].filter(([key, one]) => was.has(key) && text(was.get(key)) !== text(one)).map(([key]) => [key, was.get(key)]);
  variant.changed = {
    what: variant.past.at(-1)?.what ?? "the last step",
    figures: new Map(differs(figures, before.figures, (figure) => figure.text)),
    limits: new Map(differs(limits, before.limits, (text) => text)),
    lines: new Set([...lines].filter((line) => !before.lines.has(line))),
  };
}

class View {
  constructor(bench) {
    this.bench = bench;
    this.kept = document.getElementById("kept");
    for (const [id, title] of KEPT) this.kept.append(make("option", { value: id }, title));
    this.kept.value = matchMedia("(max-width: 700px)").matches ? "near" : "side";
    this.onScreen = new Set();
    this.seen = new IntersectionObserver((entries) => {
      for (const entry of entries) this.onScreen[entry.isIntersecting ? "add" : "delete"](entry.target.dataset.picture);
    });
    this.open = new Set();
    this.player = new Player(this);
  }

  /** The pictures that a coarse answer is wanted for. */
  wanted() {
    return [...new Set([this.kept.value, ...this.onScreen])].filter(Boolean);
  }

  get many() {
    return this.bench.variants.length > 1;
  }

  /** Each variant with what names it on the page. */
  columns() {
    return this.bench.variants.map((variant, i) => ({ variant, i, label: variant.label, prefix: `v${i}-` }));
  }

  update(variant, answer) {
    variant.pictures ??= new Map();
    for (const picture of answer.pictures ?? []) variant.pictures.set(picture.id, { ...picture, coarse: answer.coarse });
    variant.run = answer.run ?? variant.run;
    if (answer.first) {
      changes(variant, answer);
      variant.first = answer.first;
    }
    if (answer.results) {
      variant.results = answer.results;
      const before = new Map((variant.figures ?? []).map((figure) => [figure.id, figure]));
      // What a coarse answer leaves out stays as it was, and says so.
      variant.figures = answer.figures.map((figure) => (answer.coarse && /^(lowest|highest)/.test(figure.id) ? { ...(before.get(figure.id) ?? figure), old: true } : figure));
      variant.limits = answer.limits;
      variant.samples = answer.results.spread.sampling?.samples ?? 0;
      if (!answer.coarse) variant.findings = answer.results.findings;
    }
    variant.empty = !answer.results;
  }

  all() {
    this.verdict();
    this.first();
    this.keep();
    this.shorts();
    this.limits();
    this.figures();
    this.findings();
    this.gallery();
    this.assumed();
  }

  /** What changes with a coarse answer. */
  quick() {
    this.verdict();
    this.first();
    this.keep();
    this.shorts();
    this.limits();
    this.figures();
    this.refresh();
    this.findings();
  }

  /** The bar that stays in view: the plan's own verdict and marks. */
  verdict() {
    const parts = this.columns().map(({ variant, label }) => {
      const name = this.many ? make("b", { class: "who" }, `${label}: `) : null;
      if (variant.empty) return make("div", { class: "say outside" }, make("p", { class: "sentence" }, name, `■ Nothing was computed. ${this.reason(variant)}`));
      const { first } = variant;
      if (!first) return make("div", { class: "say old" }, make("p", { class: "sentence" }, name, "All runs are being computed…"));
      const old = !variant.full;
      const sign = { inside: "✓", provisional: "▲", outside: "■" }[first.standing];
      const sentence = make("p", { class: "sentence" }, name, old ? "… Before this change: " : `${sign} `, first.verdict);
      const marks = make("p", { class: "marks" }, ...first.marks.map(([what, text]) => make("span", {}, `${what} `, make("b", {}, text))));
      return make("div", { class: `say ${first.standing}${old ? " old" : ""}` }, sentence, first.marks.length ? marks : null);
    });
    const place = document.getElementById("verdict");
    place.classList.toggle("two", this.many);
    place.replaceChildren(...parts);
  }

  /** The rest of the plan's first screen. */
  first() {
    const place = document.getElementById("first");
    const parts = this.columns().map((column) => {
      const { variant } = column;
      const { first } = variant;
      if (variant.empty || !first) return make("div", {}, this.titled(column), make("p", {}, this.reason(variant)));
      const old = !variant.full;
      const lead = old ? make("p", { class: "which" }, "From before the last change; all runs are being computed.") : null;
      const was = variant.changed?.lines ?? new Set();
      const lines = first.lines.flatMap(([label, text]) => [make("dt", {}, label), make("dd", {}, !old && was.has(`${label} ${text}`) ? make("mark", {}, "◆ changed:") : null, ` ${text}`)]);
      return make("div", { class: old ? "old" : "" }, this.titled(column), lead, first.remark && !old ? make("p", {}, first.remark) : null, make("dl", { class: "said" }, ...lines));
    });
    place.replaceChildren(...parts);
  }

  titled(column) {
    return this.many ? make("p", { class: "which" }, `Variant ${column.label}`) : null;
  }

  keep() {
    const place = document.getElementById("kept-pictures");
    const scrolled = [...place.querySelectorAll(".drawing")].map((one) => one.scrollLeft);
    place.classList.toggle("two", this.many);
    const parts = this.columns().map((column) => {
      const picture = column.variant.pictures?.get(this.kept.value);
      const name = `${picture?.title ?? this.kept.value}${this.many ? `, variant ${column.label}` : ""}, drawing in view`;
      const box = make("div", { class: "drawing", tabindex: "0", role: "region", "aria-label": name });
      if (picture?.svg) box.append(drawing(picture.svg, `kept-${column.prefix}`));
      else box.append(make("p", { class: "soft" }, picture?.words ?? "Nothing to draw yet."));
      const before = column.variant.empty && picture ? make("p", { class: "which" }, "From before: nothing was computed now") : null;
      return make("div", { class: column.variant.empty ? "one old" : "one" }, this.titled(column), before, box);
    });
    place.replaceChildren(...parts);
    [...place.querySelectorAll(".drawing")].forEach((one, i) => (one.scrollLeft = scrolled[i] ?? 0));
    this.player.renew();
  }

  shorts() {
    const place = document.getElementById("short-figures");
    const items = SHORT.map((id) => {
      const figures = this.columns().map(({ variant, label }) => [label, variant.figures?.find((figure) => figure.id === id), variant.empty]);
      const first = figures.find(([, figure]) => figure)?.[1];
      if (!first) return null;
      const words = this.columns().flatMap(({ variant, label }, i) => [i ? "\n" : null, this.many ? `${label}: ` : null, this.figure(variant, figures[i][1])]);
      return make("div", {}, make("dt", {}, first.title), make("dd", { "data-figure": id }, ...words));
    });
    place.replaceChildren(...items.filter(Boolean));
  }

  /** A figure; one that the last changed value has moved is marked, with what it was. */
  figure(variant, figure) {
    if (variant.empty || !figure) return "–";
    if (figure.old) return `${figure.text} (before)`;
    const was = variant.full ? variant.changed?.figures.get(figure.id) : undefined;
    if (was === undefined) return figure.text;
    const up = was.value === null || figure.value === null ? "◆" : figure.value > was.value ? "▲" : "▼";
    return make("span", {}, make("span", { class: "was" }, `${was.text} → `), make("mark", {}, `${up} ${figure.text}`));
  }

  limits() {
    const place = document.getElementById("limits");
    const parts = this.columns().map((column) => {
      const { variant } = column;
      if (variant.empty || !variant.limits) return make("div", {}, this.titled(column), make("p", {}, this.reason(variant)));
      const coarse = variant.answer?.coarse;
      const rows = variant.limits.map((limit) => {
        const few = coarse && !limit.inside && limit.what.endsWith("chance of a miss");
        const stands = limit.inside ? "✓ kept" : limit.level === "stop" ? "■ BROKEN" : "▲ over, a caution";
        const was = variant.full ? variant.changed?.limits.get(limit.what) : undefined;
        const now = was === undefined ? limit.now : make("span", {}, make("span", { class: "was" }, `${was} → `), make("mark", {}, `◆ ${limit.now}`));
        return [limit.what, few ? "not known yet" : stands, few ? `${variant.samples} runs are too few to tell` : now, limit.limit];
      });
      const broken = rows.filter((row) => row[1].startsWith("■")).length;
      const count = broken ? `${broken} of ${rows.length} limits broken` : `${rows.length} limits kept`;
      const table = tableOf({ caption: `${count}${coarse ? " so far" : ""}${this.many ? `, variant ${column.label}` : ""}`, head: ["what", "", "now", "limit"], rows }, "words limits");
      for (const row of table.querySelectorAll("tbody tr")) row.classList.toggle("out", row.children[1].textContent.startsWith("■"));
      return make("div", {}, table);
    });
    place.replaceChildren(...parts);
  }

  /** Why nothing could be computed. */
  reason(variant) {
    const { answer } = variant;
    if (!answer) return "Nothing has been computed yet.";
    if (answer.refused) return answer.refused;
    const count = answer.faults.length;
    return count ? `${count} ${count === 1 ? "value is" : "values are"} to be put right; nothing was computed. What was typed is kept.` : "Nothing was computed.";
  }

  figures() {
    const columns = this.columns();
    const named = columns.find(({ variant }) => variant.figures)?.variant.figures;
    const place = document.getElementById("figures");
    if (!named) return place.replaceChildren(make("p", {}, this.reason(this.bench.now)));
    const [a, b] = columns.map(({ variant }) => variant);
    const text = (variant, id) => this.figure(variant, variant.figures?.find((one) => one.id === id));
    const rows = named.map((figure) => {
      const row = [figure.title, ...columns.map(({ variant }) => text(variant, figure.id))];
      if (b) {
        // Variants in other units have no difference that one of them names.
        const [x, y] = [a, b].map((variant) => (variant.empty ? null : (variant.figures?.find((one) => one.id === figure.id && one.unit === figure.unit)?.value ?? null)));
        row.push(x === null || y === null ? "–" : `${signed(y - x, figure.places)} ${figure.unit === "%" ? "points" : figure.unit}`);
      }
      return row;
    });
    const head = b ? ["what", a.label, b.label, `${b.label} less ${a.label}`] : ["what", "figure"];
    const counts = columns.map(({ variant }) => (variant.samples ?? 0).toLocaleString("en"));
    const { changed, full } = this.bench.now;
    const by = full && changed?.figures.size ? `; ▲ ▼ ◆ mark what changed with ${changed.what}` : "";
    place.replaceChildren(tableOf({ caption: `From ${counts.join(" and ")} sampled runs${by}`, head, rows }, "words figures"));
  }

  findings() {
    const place = document.getElementById("findings");
    const parts = this.columns().map((column) => {
      const { variant } = column;
      const list = variant.findings ?? [];
      const item = (finding) => make("li", { class: finding.level }, make("b", {}, SIGNS[finding.level] ?? ""), ` ${finding.text}`);
      const grave = list.filter((finding) => finding.level !== "note");
      const notes = list.filter((finding) => finding.level === "note");
      const key = `notes-${column.i}`;
      const details = make("details", { open: this.open.has(key), ontoggle: (event) => this.open[event.target.open ? "add" : "delete"](key) }, make("summary", {}, `Notes (${notes.length})`), make("ul", { class: "findings" }, ...notes.map(item)));
      const old = !variant.full;
      const lead = old ? make("p", { class: "which" }, list.length ? "From before the last change; all runs are being computed." : "All runs are being computed.") : null;
      const none = !old && list.length === 0 ? make("p", {}, variant.empty ? this.reason(variant) : "No finding: nothing that was computed is outside the limits stated.") : null;
      return make("div", { class: old ? "old" : "" }, this.titled(column), lead, none, make("ul", { class: "findings" }, ...grave.map(item)), notes.length ? details : null);
    });
    place.replaceChildren(...parts);
  }

  gallery() {
    const place = document.getElementById("pictures");
    this.seen.disconnect();
    this.onScreen.clear();
    const figures = [];
    for (const [id] of KEPT) {
      // Beside the side view it shows nothing more.
      if (id === "near") continue;
      for (const column of this.columns()) {
        const picture = column.variant.pictures?.get(id);
        if (!picture) continue;
        const figure = make("figure", { id: `${column.prefix}${id}`, "data-picture": id, class: picture.wide && !this.many ? "wide" : "one" });
        this.fill(figure, picture, column);
        figures.push(figure);
        this.seen.observe(figure);
      }
    }
    place.replaceChildren(...figures);
  }

  fill(figure, picture, column) {
    const title = this.many ? `${picture.title}, variant ${column.label}` : picture.title;
    const parts = [make("figcaption", {}, make("h3", {}, title), make("p", {}, picture.words))];
    if (picture.svg) {
      const box = make("div", { class: "drawing" });
      if (picture.wide) for (const [key, value] of Object.entries({ tabindex: "0", role: "region", "aria-label": `${title}, drawing` })) box.setAttribute(key, value);
      box.append(drawing(picture.svg, column.prefix));
      parts.push(box);
      if (picture.wide) parts.push(make("p", { class: "hint" }, "On a narrow screen the drawing moves sideways."));
    }
    if (picture.legend.length) parts.push(legendOf(picture.legend));
    if (picture.tables.length) {
      const key = `${column.prefix}${picture.id}`;
      parts.push(make("details", { open: this.open.has(key), ontoggle: (event) => this.open[event.target.open ? "add" : "delete"](key) }, make("summary", {}, `The numbers: ${title.toLowerCase()}`), ...picture.tables.map((table) => tableOf(table, "numbers"))));
    }
    figure.replaceChildren(...parts);
    figure.classList.toggle("old", Boolean(column.variant.empty));
  }

  /** Draws again only what came anew and is on the screen; the rest is marked as old until the full answer. */
  refresh() {
    for (const column of this.columns()) {
      for (const [id] of KEPT) {
        const figure = document.getElementById(`${column.prefix}${id}`);
        const picture = column.variant.pictures?.get(id);
        if (!figure || !picture) continue;
        const fresh = column.variant !== this.bench.now || column.variant.answer?.pictures?.some((one) => one.id === id);
        if (fresh && this.onScreen.has(id) && column.variant === this.bench.now) this.fill(figure, picture, column);
        figure.classList.toggle("old", !fresh || Boolean(column.variant.empty));
      }
    }
  }

  assumed() {
    const list = this.bench.now.results?.assumed ?? [];
    document.getElementById("assumed").textContent = list.length ? `The site file does not state these values; the defaults were taken. State what you can measure. ${list.join(", ")}` : "Every value is stated in the site file.";
  }
}

function signed(value, places) {
  const text = Math.abs(value).toFixed(places);
  if (Number(text) === 0) return text;
  return (value < 0 ? "−" : "+") + text;
}
