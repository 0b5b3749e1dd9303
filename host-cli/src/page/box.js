// The pressure box beside the limits, where the server follows one.

class BoxPanel {
  constructor(engine) {
    this.engine = engine;
    this.place = document.getElementById("box");
    document.getElementById("box-panel").hidden = false;
    this.state = make("p", { class: "state" }, "");
    this.rest = make("div", {});
    this.place.append(this.state, this.rest);
    this.title = document.title;
    this.icon = document.querySelector("link[rel=icon]") ?? document.head.appendChild(make("link", { rel: "icon", href: "data:," }));
    this.banner();
    this.turn();
  }

  /** What people see first stays on top of the window, whatever is scrolled. */
  banner() {
    this.head = make("p", { class: "head", role: "status" }, "Waiting for the box…");
    this.gauge = make("p", { class: "gauge" }, "");
    this.next = make("p", { class: "next" }, "");
    this.todo = make("p", { class: "todo" }, "");
    this.other = make("p", { class: "other", role: "alert" }, "");
    this.each = make("ul", { class: "each", "aria-label": "Each box" });
    this.sound = make("button", { type: "button", "aria-pressed": "false" }, "Sound on");
    this.large = make("button", { type: "button", "aria-pressed": "false" }, "Large view");
    this.sound.addEventListener("click", () => this.switchSound());
    this.large.addEventListener("click", () => this.switchLarge(!document.body.classList.contains("large")));
    const tools = make("div", { class: "tools" }, this.sound, this.large);
    this.top = make("section", { id: "box-top", class: "box-top stop", "aria-label": "Box: state now" }, this.head, this.gauge, this.next, this.each, this.todo, this.other, tools);
    document.body.prepend(this.top);
    document.body.classList.add("has-box");
    if (location.hash === "#large") this.switchLarge(true);
    document.addEventListener("visibilitychange", () => this.keepAwake());
  }

  switchLarge(on) {
    document.body.classList.toggle("large", on);
    this.large.setAttribute("aria-pressed", String(on));
    this.large.textContent = on ? "Small view" : "Large view";
    this.keepAwake();
  }

  /** A screen that is looked at from afar must not go dark. Browsers give this to a page that is seen, where they have it. */
  async keepAwake() {
    const wanted = document.visibilityState === "visible" && (document.body.classList.contains("large") || Boolean(this.audio));
    try {
      if (wanted && !this.lock) {
        this.lock = await navigator.wakeLock?.request("screen");
        this.lock?.addEventListener("release", () => (this.lock = null));
      } else if (!wanted && this.lock) await this.lock.release();
    } catch {
      this.lock = null;
    }
  }

  /** Browsers let a page sound only after somebody has asked for it: this button is that. */
  switchSound() {
    if (this.audio) {
      this.audio.close();
      this.audio = null;
    } else {
      this.audio = new AudioContext();
      this.beep(0.1);
    }
    this.sound.setAttribute("aria-pressed", String(Boolean(this.audio)));
    this.sound.textContent = this.audio ? "Sound off" : "Sound on";
    this.keepAwake();
  }

  beep(seconds) {
    if (!this.audio) return;
    const tone = this.audio.createOscillator();
    tone.frequency.value = 880;
    tone.connect(this.audio.destination);
    tone.start();
    tone.stop(this.audio.currentTime + seconds);
    this.beeps = (this.beeps ?? 0) + 1;
  }

  async turn() {
    try {
      this.show(await this.engine.box());
    } catch (error) {
      this.say(`■ No data from the box: ${error.message}`, "stop");
      this.first({ level: "stop", sign: "■", head: "NO DATA", next: "next rider: NO", todo: "Nothing is known here. Look at the box's own lamps." }, null);
      this.rest.classList.add("old");
    }
    setTimeout(() => this.turn(), 200);
  }

  /** A pressure as the site's gauge shows it. */
  pressure(pa) {
    const { unit, per_pa, places } = this.shows ?? { unit: "kPa", per_pa: 0.001, places: 2 };
    return `${(pa * per_pa).toFixed(places)} ${unit}`;
  }

  say(text, level) {
    if (text !== this.state.textContent) this.state.textContent = text;
    this.state.className = `state ${level}`;
  }

  /** The banner, the window's title and its icon. */
  first({ level = "stop", sign = "", head = "", next = "", todo = "", other_jump = null, all = null, boxes = [] }, now) {
    // What has not changed is left alone: it would be read aloud again.
    const put = (place, text) => {
      if (place.textContent !== text) place.textContent = text;
    };
    put(this.head, `${sign} ${head}`.trim());
    // Several boxes: the one permit of all of them, and each with its own state and pressure.
    const several = boxes.length > 1;
    put(this.gauge, several ? (all ?? "") : Number.isFinite(now) ? this.pressure(now) : "");
    while (this.each.children.length > (several ? boxes.length : 0)) this.each.lastChild.remove();
    if (several)
      boxes.forEach((one, n) => {
        const row = this.each.children[n] ?? this.each.appendChild(make("li", {}, make("b", {}), make("span", {}), make("span", {})));
        [one.source, `${one.sign ?? ""} ${one.head ?? ""}`.trim(), one.shown ?? "no pressure known"].forEach((text, at) => put(row.children[at], text));
        row.className = one.level ?? "stop";
      });
    put(this.next, next);
    put(this.todo, todo);
    put(this.other, other_jump ?? "");
    this.top.className = `box-top ${level}${several ? " several" : ""}`;
    const title = `${sign} ${head}, ${next} – ${this.title}`;
    if (document.title !== title) document.title = title;
    if (this.shown !== level) {
      this.shown = level;
      const [colour, shape] = { note: ["#1b7f3b", '<circle cx="8" cy="8" r="7"'], caution: ["#8a4b00", '<path d="M8 1 15 15 1 15z"'] }[level] ?? ["#b00020", '<rect x="1" y="1" width="14" height="14"'];
      this.icon.href = `data:image/svg+xml,${encodeURIComponent(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16">${shape} fill="${colour}"/></svg>`)}`;
    }
    // Once a second while there is danger.
    if (level === "stop" && !(Date.now() - this.beeped < 1000)) {
      this.beeped = Date.now();
      this.beep(0.5);
    }
  }

  show(data) {
    this.shows = data.gauge ?? this.shows;
    const boxes = data.boxes ?? [];
    const several = boxes.length > 1;
    this.rest.classList.toggle("old", !several && Boolean(data.silent));
    this.first(data, known(data));
    const from = data.simulated ? `A simulated box${several ? " each" : ""}` : (data.source ?? "");
    const foot = make("p", { class: "soft" }, [from, data.caution].filter(Boolean).join(". "));
    if (several) {
      const all = `${data.sign ?? ""} ${data.all ?? ""}, ${data.next ?? ""}`.trim();
      this.say(all, data.level ?? "stop");
      this.rest.replaceChildren(...boxes.map((one) => make("section", { class: `one-box${one.silent ? " old" : ""}`, "aria-label": `Box ${one.source}` }, make("h3", {}, `${one.source}: ${one.sign ?? ""} ${one.head}`), make("p", {}, one.todo), ...this.body(one))), foot);
      return;
    }
    this.say(`${data.sign ?? ""} ${data.state ?? ""}`.trim(), data.level ?? "note");
    this.rest.replaceChildren(...this.body(data), foot);
  }

  /** One box's picture and what there is to say of it. */
  body(one) {
    const lines = (one.lines ?? []).map((line) => make("li", {}, line));
    return [this.draw(one.trace ?? [], one.limits ?? [], known(one)), make("ul", { class: "lines" }, ...lines)];
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
    for (const share of [0, 0.5, 1]) parts += `<text class="tick" x="${left - 6}" y="${y((top / 1.1) * share) + 5}" text-anchor="end">${this.pressure((top / 1.1) * share).split(" ")[0]}</text>`;
    const names = [];
    for (const { name, pa, shown } of limits) {
      if (!Number.isFinite(pa)) continue;
      const at = y(pa);
      const shift = names.filter((other) => Math.abs(other - at) < 14).length * 170;
      names.push(at);
      parts += `<line class="grid strong" x1="${left}" x2="${width - 10}" y1="${at}" y2="${at}"/><text class="small halo" x="${left + 4 + shift}" y="${at - 3}">${escapeText(`${name} ${shown ?? this.pressure(pa)}`)}</text>`;
    }
    const words = Number.isFinite(now) ? `Pressure now ${this.pressure(now)}; the last ${Math.round(end - begin)} seconds.` : "No pressure is known now.";
    const svg = `<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${escapeText(words)}"><line class="axis" x1="${left}" x2="${left}" y1="8" y2="${height - foot}"/><line class="axis" x1="${left}" x2="${width - 10}" y1="${height - foot}" y2="${height - foot}"/>${parts}<path class="line median" d="${path}"/><text class="name" x="${left}" y="${height - 8}">${this.shows?.unit ?? "kPa"} over the last ${Math.round(end - begin)} s</text></svg>`;
    return make("div", { class: "drawing box" }, make("p", { class: "big" }, words.split(";")[0]), drawing(svg, "box-"));
  }
}

/** The pressure that a box knows now, or null. */
const known = (one) => (one.silent || one.pressure_pa === null ? null : (one.pressure_pa ?? one.trace?.at(-1)?.[1]));

const escapeText = (text) => text.replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);
