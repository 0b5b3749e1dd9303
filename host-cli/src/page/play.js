// A run played on the picture in view: the computed places of the centre of mass at their computed times, at real speed
// or at a quarter of it. Nothing moves until somebody asks for it.

/** Pictures that a run can be played on. */
const PLAYED = ["side", "near"];
/** Radius of a drawn wheel. */
const WHEEL_M = 0.34;
/** Where less motion is wanted the drawing moves on so often, in seconds. */
const STILL_S = 0.25;

class Player {
  constructor(view) {
    this.view = view;
    this.place = document.getElementById("player");
    this.button = document.getElementById("play");
    this.pace = document.getElementById("pace");
    this.range = document.getElementById("play-time");
    this.words = document.getElementById("play-words");
    this.time = null;
    this.going = false;
    this.less = matchMedia("(prefers-reduced-motion: reduce)");
    this.button.addEventListener("click", () => (this.going ? this.pause() : this.play()));
    this.range.addEventListener("input", () => {
      this.pause();
      this.time = Number(this.range.value);
      this.draw();
    });
  }

  get runs() {
    return this.view.columns().map(({ variant, label }) => ({ run: variant.empty ? null : variant.run, label }));
  }

  get end() {
    return Math.max(0, ...this.runs.map(({ run }) => (run ? endOf(run) : 0)));
  }

  /** When the first rider comes into the picture: the ride before it is not in it. */
  get begin() {
    if (this.view.kept.value !== "near") return 0;
    const plots = this.plots();
    const times = this.runs.map(({ run }, i) => {
      const low = plots[i] ? scaleOf(plots[i]).x[0] : 0;
      return run?.ride.find(([, x]) => x >= low)?.[0] ?? 0;
    });
    return Math.max(0, Math.min(...times) - 0.3);
  }

  plots() {
    return [...document.querySelectorAll("#kept-pictures .one")].map((one) => one.querySelector("g.plot"));
  }

  play() {
    if (this.time === null || this.time >= this.end - 1e-3) this.time = this.begin;
    this.going = true;
    this.last = null;
    this.drawn = -1;
    this.say();
    requestAnimationFrame((now) => this.turn(now));
  }

  pause() {
    this.going = false;
    this.say();
  }

  turn(now) {
    if (!this.going) return;
    if (this.last !== null) this.time += ((now - this.last) / 1000) * Number(this.pace.value);
    this.last = now;
    if (this.time >= this.end) {
      this.time = this.end;
      this.pause();
    }
    const due = !this.less.matches || !this.going || Math.abs(this.time - this.drawn) >= STILL_S * Number(this.pace.value);
    if (due) {
      this.drawn = this.time;
      this.draw();
    }
    if (this.going) requestAnimationFrame((next) => this.turn(next));
  }

  say() {
    this.button.textContent = this.going ? "Pause" : this.time !== null && this.time >= this.end - 1e-3 ? "Play again" : "Play";
  }

  /** After another answer, picture or variant: what was played no longer fits. */
  renew() {
    const can = PLAYED.includes(this.view.kept.value) && this.end > 0;
    this.place.hidden = !can;
    if (!can) {
      this.going = false;
      this.time = null;
      return this.say();
    }
    this.range.max = this.end.toFixed(2);
    if (this.time !== null) this.time = Math.min(this.time, this.end);
    this.draw();
    this.say();
  }

  draw() {
    const { runs, time } = this;
    this.plots().forEach((plot, i) => {
      if (!plot) return;
      plot.querySelector(".played")?.remove();
      if (time !== null && runs[i]?.run) plot.append(drawing(`<svg>${riderAt(runs[i].run, time, scaleOf(plot))}</svg>`, "").firstChild.firstChild);
    });
    this.range.value = (time ?? 0).toFixed(2);
    const said = time === null ? "The mean rider's run, from the start to the bag." : runs.filter(({ run }) => run).map(({ run, label }) => `${this.view.many ? `${label}: ` : ""}${wordsAt(run, time)}`).join("\n");
    this.words.textContent = said;
    this.range.setAttribute("aria-valuetext", said);
  }
}

/** The end: the deepest place in the bag, else the last that was computed. */
function endOf(run) {
  return deepest(run)?.[0] ?? run.flight.at(-1)?.[0] ?? run.ride.at(-1)?.[0] ?? 0;
}

function deepest(run) {
  return run.bag.reduce((most, one) => (most && most[1] >= one[1] ? most : one), null);
}

/** A list's row at a time, between its neighbours. */
function rowAt(list, time) {
  const next = list.findIndex(([at]) => at >= time);
  if (next < 0) return list.at(-1);
  if (next === 0) return list[0];
  const [a, b] = [list[next - 1], list[next]];
  const share = (time - a[0]) / (b[0] - a[0]);
  return a.map((value, i) => value + (b[i] - value) * share);
}

/** The state of a run at a time: which part of it, and the row. */
function stateAt(run, time) {
  const left = run.flight[0]?.[0] ?? Infinity;
  if (time < left) return { part: "ride", row: rowAt(run.ride, time), over: time > (run.ride.at(-1)?.[0] ?? 0) };
  const landed = run.flight.at(-1)[0];
  const row = rowAt(run.flight, time);
  if (time <= landed || !run.bag.length) return { part: "flight", row, over: time > landed };
  const dent = rowAt(run.bag, Math.min(time, endOf(run)));
  return { part: "bag", row: [row[0], row[1], row[2] - dent[1], 0, 0], dent };
}

/** How metres become places of a drawing. */
function scaleOf(plot) {
  const numbers = (name) => plot.dataset[name].split(" ").map(Number);
  // The bounds are in the unit that is shown; beside them stands how many metres that is.
  const [across, up] = numbers("per");
  const [x, y, [left, top, right, bottom]] = [numbers("x").map((one) => one * across), numbers("y").map((one) => one * up), numbers("frame")];
  const per = (right - left) / (x[1] - x[0]);
  return { x, per, px: (m) => left + (m - x[0]) * per, py: (m) => bottom - (m - y[0]) * ((bottom - top) / (y[1] - y[0])) };
}

function riderAt(run, time, { per, px, py }) {
  const { part, row, dent } = stateAt(run, time);
  const [, x, z, , slope] = row;
  const at = (value) => value.toFixed(1);
  const past = [...run.ride, ...run.flight].filter(([when]) => when <= time).map(([, a, b]) => `${at(px(a))},${at(py(b))}`);
  let parts = `<polyline class="past" points="${[...past, `${at(px(x))},${at(py(z))}`].join(" ")}"/>`;
  if (dent) {
    const [cx, cz] = run.contact;
    // A parabola through the deepest place and both ends of the dent.
    parts += `<path class="dent" d="M${at(px(cx - dent[2]))} ${at(py(cz))}Q${at(px(cx))} ${at(py(cz - 2 * dent[1]))} ${at(px(cx + dent[2]))} ${at(py(cz))}"/>`;
  }
  if (part === "ride") {
    const place = (along, up) => [at(px(x + along * Math.cos(slope) - up * Math.sin(slope))), at(py(z + along * Math.sin(slope) + up * Math.cos(slope)))];
    const hub = WHEEL_M - run.mass_height_m;
    for (const side of [-0.5, 0.5]) {
      const [cx, cy] = place(side * run.wheelbase_m, hub);
      parts += `<line class="limb" x1="${at(px(x))}" y1="${at(py(z))}" x2="${cx}" y2="${cy}"/><circle class="wheel" cx="${cx}" cy="${cy}" r="${at(WHEEL_M * per)}"/>`;
    }
  } else {
    parts += `<circle class="reach" cx="${at(px(x))}" cy="${at(py(z))}" r="${at(run.contact_height_m * per)}"/>`;
  }
  return `<g class="played" data-part="${part}">${parts}<circle class="mass" cx="${at(px(x))}" cy="${at(py(z))}" r="${at(Math.max(4, 0.16 * per))}"/></g>`;
}

function wordsAt(run, time) {
  const { part, row, over, dent } = stateAt(run, time);
  const clock = `${Math.min(time, endOf(run)).toFixed(2)} s`;
  const shown = (value, [factor, unit, places]) => `${(value * factor).toFixed(places)} ${unit}`;
  const speed = shown(row[3], run.speed);
  if (dent) return `${clock}: ${time >= endOf(run) - 1e-3 ? "deepest, " : ""}${shown(dent[1], run.depth)} deep in the bag`;
  if (part === "flight") return over ? `${clock}: the flight ends beside the bag` : `${clock}: in the air for ${(time - run.flight[0][0]).toFixed(2)} s, ${speed}`;
  return over ? `${clock}: the ride ends before the lip` : `${clock}: on the ride down, ${speed}`;
}
