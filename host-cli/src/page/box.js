// The pressure box beside the limits, where the server follows one.

class BoxPanel {
  constructor(engine) {
    this.engine = engine;
    this.place = document.getElementById("box");
    document.getElementById("box-panel").hidden = false;
    this.words = make("p", { class: "state", role: "status" }, "Waiting for the box…");
    this.rest = make("div", {});
    this.place.append(this.words, this.rest);
    this.said = "";
    this.turn();
  }

  async turn() {
    try {
      this.show(await this.engine.box());
    } catch (error) {
      this.say(`■ No data from the box: ${error.message}`, "stop");
      this.rest.classList.add("old");
    }
    setTimeout(() => this.turn(), 200);
  }

  say(text, level) {
    // Said aloud only when it changes.
    if (text !== this.said) this.words.textContent = this.said = text;
    this.words.className = `state ${level}`;
  }

  show(data) {
    this.rest.classList.toggle("old", Boolean(data.silent));
    this.say(`${data.sign ?? ""} ${data.state ?? ""}`.trim(), data.level ?? "note");
    const limits = data.limits ?? [];
    const trace = data.trace ?? [];
    const last = trace.at(-1);
    const lines = (data.lines ?? []).map((line) => make("li", {}, line));
    const now = data.silent || data.pressure_pa === null ? null : (data.pressure_pa ?? last?.[1]);
    const from = `${data.simulated ? "A simulated box" : (data.source ?? "")}`;
    this.rest.replaceChildren(this.draw(trace, limits, now), make("ul", { class: "lines" }, ...lines), make("p", { class: "soft" }, [from, data.caution].filter(Boolean).join(". ")));
  }

  /** Pressure over time, with the limits as dashed lines that carry their names. */
  draw(trace, limits, now) {
    const [width, height, left, foot] = [640, 260, 64, 34];
    const times = trace.map(([time]) => time);
    const end = Math.max(0, times.at(-1) ?? 0);
    const begin = Math.min(times[0] ?? 0, end - 10);
    const values = [...trace.map(([, pa]) => pa), ...limits.map(({ pa }) => pa)].filter(Number.isFinite);
    const top = Math.max(100, ...values) * 1.1;
    const x = (time) => left + ((time - begin) / (end - begin || 1)) * (width - left - 10);
    const y = (pa) => height - foot - (Math.max(pa, 0) / top) * (height - foot - 12);
    let parts = "";
    let path = "";
    let pen = "M";
    for (const [time, pa] of trace) {
      if (Number.isFinite(pa)) {
        path += `${pen}${x(time).toFixed(1)} ${y(pa).toFixed(1)}`;
        pen = "L";
      } else pen = "M";
    }
    const kpa = (pa) => `${(pa / 1000).toFixed(2)} kPa`;
    for (const share of [0, 0.5, 1]) parts += `<text class="tick" x="${left - 6}" y="${y((top / 1.1) * share) + 5}" text-anchor="end">${((top / 1100) * share).toFixed(2)}</text>`;
    const names = [];
    for (const { name, pa } of limits) {
      if (!Number.isFinite(pa)) continue;
      const at = y(pa);
      const shift = names.filter((other) => Math.abs(other - at) < 14).length * 170;
      names.push(at);
      parts += `<line class="grid strong" x1="${left}" x2="${width - 10}" y1="${at}" y2="${at}"/><text class="small halo" x="${left + 4 + shift}" y="${at - 3}">${escapeText(`${name} ${kpa(pa)}`)}</text>`;
    }
    const words = Number.isFinite(now) ? `Pressure now ${kpa(now)}; the last ${Math.round(end - begin)} seconds.` : "No pressure is known now.";
    const svg = `<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${escapeText(words)}"><line class="axis" x1="${left}" x2="${left}" y1="8" y2="${height - foot}"/><line class="axis" x1="${left}" x2="${width - 10}" y1="${height - foot}" y2="${height - foot}"/>${parts}<path class="line median" d="${path}"/><text class="name" x="${left}" y="${height - 8}">kPa over the last ${Math.round(end - begin)} s</text></svg>`;
    return make("div", { class: "drawing box" }, make("p", { class: "big" }, words.split(";")[0]), drawing(svg, "box-"));
  }
}

const escapeText = (text) => text.replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);
