// One control for each value of the site file: made once from the table of keys, then kept up to date.

/** An element with attributes and children; texts become text nodes. */
function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** What is tried first at a field, in the order of the question; all else is folded below. */
const FIRST = [
  "roll_in.start_height", "bag.gap", "bag.vent_area", "blower.count", "bag.settled_pressure", "bag.pressure_min",
  "bag.pressure_max", "rider.mass", "rider.lightest", "rider.heaviest", "takeoff.height", "takeoff.radius", "wind.gust",
];
const DECIMALS = (number) => String(Number(number.toPrecision(6)));

class Controls {
  constructor(bench, place) {
    this.bench = bench;
    this.place = place;
    this.parts = new Map();
    this.gesture = null;
  }

  /** Makes all controls; the tables give the groups. */
  build(controls, tables) {
    this.groups = tables.map((table) => {
      const body = make("div", { class: "group" });
      const count = make("span", { class: "count" });
      const title = table.title[0].toUpperCase() + table.title.slice(1);
      const differs = make("span", { class: "differs" });
      const own = controls.filter((one) => one.table === table.name && FIRST.includes(one.key)).map((one) => one.title);
      const above = own.length ? make("p", { class: "soft above" }, `Above: ${own.join(", ")}.`) : null;
      const details = make("details", { id: `table-${table.name}` }, make("summary", {}, title, differs, count), make("p", { class: "soft" }, table.help), above, body);
      this.place.append(details);
      return { name: table.name, words: `${table.title} ${table.help}`, details, body, count, differs };
    });
    const first = make("div", { class: "first-values", id: "first-values" });
    this.place.prepend(first, make("h3", {}, "All other values"));
    for (const control of controls) {
      const part = this.part(control);
      part.first = FIRST.includes(control.key);
      part.group = this.groups.find((one) => one.name === control.table);
      this.parts.set(control.key, part);
      if (!part.first) part.group.body.append(part.row);
    }
    first.append(...FIRST.map((key) => this.parts.get(key)?.row).filter(Boolean));
    for (const group of this.groups) if (!group.body.childElementCount) group.details.classList.add("inactive");
  }

  part(control) {
    const id = control.key.replace(".", "-");
    const part = { id, control, range: null, dirty: false };
    const title = control.title[0].toUpperCase() + control.title.slice(1);
    const fault = make("p", { class: "fault", id: `${id}-fault`, hidden: true });
    const note = make("span", { class: "preset" });
    const infile = make("p", { class: "was-in-file", hidden: true });
    const leave = make("button", { type: "button", class: "leave", onclick: () => this.set(part, null) }, "Leave out");
    leave.setAttribute("aria-label", `Leave out ${control.key}`);
    part.says = (...extra) => [`${id}-help`, `${id}-fault`, ...extra].join(" ");
    const help = make("p", { class: "help", id: `${id}-help` }, control.help, " ", note);
    const foot = make("div", { class: "foot" }, help, leave);
    let body;
    let heading;
    if (["quantity", "number", "count"].includes(control.kind)) {
      heading = make("label", { for: id }, title);
      body = this.number(part, title);
    } else if (control.kind === "flag") {
      heading = make("label", { for: id }, title);
      part.box = make("select", { id, "aria-describedby": part.says(), onchange: () => this.set(part, part.box.value) });
      for (const [value, words] of control.choices) part.box.append(make("option", { value }, words));
      body = make("div", { class: "inputs" }, part.box);
    } else if (control.kind === "text") {
      heading = make("label", { for: id }, title);
      part.box = make("input", { id, type: "text", class: "long", "aria-describedby": part.says(), oninput: () => (part.dirty = true), onchange: () => this.set(part, part.box.value) });
      body = make("div", { class: "inputs" }, part.box);
    } else {
      heading = make("p", { class: "name", id: `${id}-name` }, title);
      part.list = make("div", { class: "rows", role: "group", "aria-labelledby": `${id}-name`, "aria-describedby": part.says() });
      body = part.list;
    }
    part.row = make("div", { class: "control", id: `control-${id}` }, make("div", { class: "head" }, heading, make("code", {}, control.key)), body, infile, fault, foot);
    Object.assign(part, { fault, note, leave, infile });
    part.words = `${control.key} ${control.title} ${control.help}`.toLowerCase();
    return part;
  }

  number(part, title) {
    const { id, control } = part;
    part.slider = make("input", {
      type: "range",
      id: `${id}-slider`,
      "aria-label": `${title}, slider`,
      "aria-describedby": part.says(),
      oninput: () => this.slide(part),
      onchange: () => this.rest(),
    });
    part.box = make("input", {
      id,
      type: "text",
      inputmode: "decimal",
      autocomplete: "off",
      spellcheck: "false",
      "aria-describedby": part.says(`${id}-range`),
      oninput: () => (part.dirty = true),
      onchange: () => this.typed(part),
      onkeydown: (event) => this.key(part, event),
    });
    part.ends = make("p", { class: "ends", id: `${id}-range` });
    const inputs = make("div", { class: "inputs" }, part.box);
    if (control.kind === "quantity") {
      part.unit = make("select", { "aria-label": `Unit of ${title.toLowerCase()}`, class: "unit", onchange: () => this.convert(part) });
      inputs.append(part.unit);
    }
    return make("div", { class: "number" }, inputs, part.slider, part.ends);
  }

  /** The range in the unit at hand. */
  rangeOf(part) {
    const { units, unit } = part.control;
    return units.find((one) => one.unit === (part.unit?.value || unit)) ?? units[0];
  }

  show(controls, faults) {
    for (const control of controls ?? []) this.fill(this.parts.get(control.key), control);
    this.differing();
    return this.faults(faults);
  }

  /** Marks what is no longer as the file has it. */
  differing() {
    const counts = new Map();
    for (const part of this.parts.values()) {
      const was = this.bench.now.inFile(part.control);
      part.row.classList.toggle("differs-here", was !== null);
      part.infile.hidden = was === null;
      if (was === null) {
        part.infile.replaceChildren();
        continue;
      }
      const there = !was.stated ? "not stated" : was.rows ? "another list" : was.shown;
      const words = `◆ Changed. In the file: ${there} `;
      if (part.infile.firstChild?.textContent !== words) {
        const back = make("button", { type: "button", class: "leave", "aria-label": `Back to it: ${part.control.key} of the file`, onclick: () => this.restore(part) }, "Back to it");
        part.infile.replaceChildren(make("mark", {}, words), was.rows && was.stated ? "" : back);
      }
      if (!part.first) counts.set(part.group, (counts.get(part.group) ?? 0) + 1);
    }
    for (const group of this.groups) group.differs.textContent = counts.has(group) ? ` ◆ ${counts.get(group)} changed` : "";
  }

  restore(part) {
    const was = this.bench.now.inFile(part.control);
    if (was) this.set(part, was.stated ? was.shown : null);
    (part.box ?? part.slider)?.focus();
  }

  fill(part, control) {
    part.control = control;
    part.note.textContent = control.stated ? "" : control.preset;
    part.leave.hidden = !control.stated || !control.can_be_left_out;
    part.row.classList.toggle("assumed", !control.stated);
    part.row.classList.toggle("inactive", !control.active);
    // An older answer does not take back what was set meanwhile.
    if (control.key in (this.bench.now.edits?.set ?? {})) return;
    if (part.list) return this.rows(part);
    if (part.unit) this.units(part);
    const busy = part.dirty && document.activeElement === part.box;
    if (!busy) {
      part.dirty = false;
      part.box.value = control.kind === "quantity" ? (control.number ?? control.shown) : control.shown;
    }
    if (part.slider) this.span(part);
  }

  units(part) {
    const { control } = part;
    const names = control.units.map((one) => one.unit);
    const wanted = control.unit === null ? ["", ...names] : names;
    if (part.unit.options.length !== wanted.length) {
      part.unit.replaceChildren(...wanted.map((name) => make("option", { value: name }, name || "as written")));
    }
    part.unit.value = control.unit ?? (control.shown === "" ? names[0] : "");
  }

  /** What the slider spans; kept while the value stays inside, so that it does not slip away under a finger. */
  span(part) {
    const range = this.rangeOf(part);
    const at = range.at;
    const kept = part.range && part.range.unit === range.unit && (at === null || (at >= part.range.from && at <= part.range.to && at >= (part.range.to - part.range.from) / 50 + part.range.from)) ? part.range : range;
    part.range = kept;
    const { slider } = part;
    slider.min = kept.from;
    slider.max = kept.to;
    slider.step = kept.step;
    if (this.gesture !== part) slider.value = at ?? kept.from;
    const unit = range.unit ? ` ${range.unit}` : "";
    slider.setAttribute("aria-valuetext", at === null ? "not stated" : `${DECIMALS(at)}${unit}`);
    part.ends.textContent = `allowed ${range.low} to ${range.high}${unit}; slider ${DECIMALS(kept.from)} to ${DECIMALS(kept.to)}${unit}`;
    // In the units of the site, where the file has others.
    if (part.control.here) part.ends.prepend(`now ${part.control.here}; `);
  }

  slide(part) {
    const first = this.gesture !== part;
    this.gesture = part;
    this.bench.dragging = true;
    const number = Number(part.slider.value).toFixed(part.range.places);
    const unit = part.range.unit ? ` ${part.range.unit}` : "";
    part.box.value = number;
    part.dirty = false;
    if (part.unit) part.unit.value = part.range.unit;
    part.slider.setAttribute("aria-valuetext", `${number}${unit}`);
    this.bench.edit({ set: { [part.control.key]: `${number}${unit}` } }, first ? part.control.key : null);
  }

  /** A drag has come to rest. */
  rest() {
    this.gesture = null;
    this.bench.dragging = false;
    this.bench.pump();
  }

  typed(part) {
    const text = part.box.value.trim();
    part.dirty = false;
    const bare = /^[+−-]?\d*[.,]?\d+(e[+-]?\d+)?$/i.test(text);
    const unit = part.unit?.value;
    this.set(part, bare && unit ? `${text} ${unit}` : text);
  }

  key(part, event) {
    if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return;
    const number = Number(part.box.value);
    if (!part.range || part.box.value.trim() === "" || !Number.isFinite(number)) return;
    event.preventDefault();
    const next = number + (event.key === "ArrowUp" ? 1 : -1) * part.range.step;
    part.box.value = next.toFixed(Math.max(part.range.places, (part.box.value.split(".")[1] ?? "").length));
    this.typed(part);
  }

  convert(part) {
    const range = this.rangeOf(part);
    const { at } = range;
    if (!part.unit.value || at === null) return;
    this.set(part, `${DECIMALS(at)} ${range.unit}`);
  }

  /** States a value as it was typed; null leaves the key out. */
  set(part, text) {
    const { key } = part.control;
    if (text === null) this.bench.edit({ unset: [key] }, key);
    else this.bench.edit({ set: { [key]: text } }, key);
  }

  rows(part) {
    const { control } = part;
    const same = JSON.stringify([control.rows, control.shown]);
    if (part.was === same || (part.list.contains(document.activeElement) && part.dirty)) return;
    const had = document.activeElement?.id;
    part.was = same;
    part.list.replaceChildren();
    if (!control.rows && control.stated) {
      // A list that is none: as it stands, to be put right here or in the text.
      const box = make("input", { type: "text", class: "long", id: `${part.id}-0-0`, "aria-label": control.title, onchange: (event) => this.set(part, event.target.value) });
      box.value = control.shown;
      part.list.append(box);
      return;
    }
    const rows = (control.rows ?? []).map((row) => ({ ...row, cells: [...row.cells] }));
    const send = (what = rows) => {
      part.dirty = false;
      if (what.length === 0) return this.set(part, null);
      this.set(part, `[\n${what.map((row) => `  ${this.rowText(control, row)},\n`).join("")}]`);
    };
    rows.forEach((row, i) => {
      const line = make("div", { class: "row" });
      if (control.kind === "sections") {
        const kind = make("select", { "aria-label": `Section ${i + 1}: kind`, id: `${part.id}-${i}-kind` });
        for (const [name] of control.names) kind.append(make("option", { value: name }, name));
        kind.value = row.name || "straight";
        kind.addEventListener("change", () => {
          row.name = kind.value;
          if (row.cells.length < 2) row.cells.push("30 deg");
          send();
        });
        line.append(kind);
      }
      row.cells.forEach((cell, j) => {
        const box = make("input", { type: "text", id: `${part.id}-${i}-${j}`, "aria-label": `${control.title} ${i + 1}: ${control.columns[j] ?? "value"}`, "aria-describedby": part.says(), oninput: () => (part.dirty = true) });
        box.value = cell;
        box.addEventListener("change", () => {
          row.cells[j] = box.value.trim();
          send();
        });
        line.append(box);
      });
      line.append(make("button", { type: "button", "aria-label": `${control.title} ${i + 1}: remove`, onclick: () => send(rows.filter((_, other) => other !== i)) }, "−"));
      part.list.append(line);
    });
    part.list.append(make("button", { type: "button", onclick: () => send([...rows, { name: control.names[0][0], cells: control.row }]) }, control.kind === "curve" ? "Add a point" : "Add a section"));
    if (had) document.getElementById(had)?.focus();
  }

  rowText(control, row) {
    const quoted = row.cells.map((cell) => JSON.stringify(cell));
    if (control.kind === "curve") return `[${quoted.join(", ")}]`;
    const [first, second] = control.names.find(([name]) => name === row.name) ?? control.names[0];
    return quoted.length > 1 ? `{ ${first} = ${quoted[0]}, ${second} = ${quoted[1]} }` : `{ ${first} = ${quoted[0] ?? '""'} }`;
  }

  /** Faults beside their controls; those without one are given back. */
  faults(faults) {
    const loose = [];
    const by = new Map();
    for (const fault of faults) {
      const key = [...this.parts.keys()].find((one) => fault.key === one || (fault.key.startsWith(one) && /^\W/.test(fault.key.slice(one.length))));
      if (key) by.set(key, [...(by.get(key) ?? []), fault]);
      else loose.push(fault);
    }
    for (const [key, part] of this.parts) {
      const own = by.get(key) ?? [];
      part.fault.hidden = own.length === 0;
      part.fault.textContent = own.map((fault) => `${fault.message}. To put it right: ${fault.cure}.`).join(" ");
      for (const field of [part.box, part.slider, part.list].filter(Boolean)) {
        if (field !== part.list) field.setAttribute("aria-invalid", String(own.length > 0));
      }
      part.row.classList.toggle("faulty", own.length > 0);
    }
    for (const group of this.groups) {
      const count = [...by.keys()].filter((key) => this.parts.get(key).group === group && !this.parts.get(key).first).length;
      group.count.textContent = count ? ` ▲ ${count} to put right` : "";
      if (count) group.details.open = true;
    }
    return loose;
  }

  /** Shows only what holds all the words; gives how many. */
  filter(text) {
    const words = text.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const group of this.groups) {
      let some = 0;
      for (const part of this.parts.values()) {
        if (part.group !== group) continue;
        const fits = words.every((word) => part.words.includes(word) || group.words.toLowerCase().includes(word));
        part.row.hidden = !fits;
        if (fits && part.first) shown += 1;
        else if (fits) some += 1;
      }
      group.details.hidden = some === 0;
      if (words.length) {
        group.before ??= group.details.open;
        group.details.open = some > 0;
      } else if (group.before !== undefined) {
        group.details.open = group.before;
        delete group.before;
      }
      shown += some;
    }
    return shown;
  }
}
