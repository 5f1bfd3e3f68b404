// The picture of an attempt: pedal, key and engine as they come, against the windows of the steps
// behind and ahead. Shape, pattern and word tell them apart, never colour alone; the list says the same.

const BACK_S = 8;
const SPAN_S = 18;
const ROWS = { pedal: 62, key: 38, engine: 44 };
const GAP = 6;
const AXIS = 20;
const SILENT_S = 0.8; // a longer gap between readings is no line
const SHAPES = { press: "▼", release: "▲", key_on: "■", key_off: "□", engine_start: "▶", event: "◇", other: "■" };
const ROW_OF = { press: "pedal", release: "pedal", key_on: "key", key_off: "key" };
const CALM_S = 0.5;

export class Windows {
  constructor(root, words) {
    this.canvas = root.querySelector("[data-windows]");
    this.list = root.querySelector("[data-windows-words]");
    this.words = words;
    this.calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.points = { pedal: [], key: [], speed: [] };
    this.windows = [];
    this.drawn = -Infinity;
    this.listed = -Infinity;
  }

  // Signals and windows with times on the server's clock [s].
  hear({ trace, windows }) {
    for (const [row, at, value] of trace || []) this.points[row].push([at, value]);
    for (const row of Object.keys(this.points)) if (this.points[row].length > 3000) this.points[row].splice(0, 1000);
    if (windows) this.windows = windows;
  }

  // `now` on the server's clock. Where motion is not wanted the picture stands and is turned like a page.
  draw(now) {
    if (!this.canvas) return;
    if (now - this.listed > 0.5) { this.listed = now; this.tell(now); }
    if (this.calm && now - this.drawn < CALM_S) return;
    this.drawn = now;
    const page = SPAN_S - BACK_S;
    const from = this.calm ? Math.floor(now / page) * page - BACK_S / 2 : now - BACK_S;
    const wide = this.canvas.clientWidth || 340;
    const sharp = window.devicePixelRatio || 1;
    const high = Object.values(ROWS).reduce((sum, row) => sum + row + GAP, AXIS);
    if (this.canvas.width !== Math.round(wide * sharp) || this.canvas.height !== Math.round(high * sharp)) {
      this.canvas.width = Math.round(wide * sharp);
      this.canvas.height = Math.round(high * sharp);
      this.canvas.style.height = `${high}px`;
    }
    const pen = this.canvas.getContext("2d");
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.clearRect(0, 0, wide, high);
    pen.font = "14px system-ui, sans-serif";
    const x = (at) => ((at - from) / SPAN_S) * wide;
    let top = 0;
    for (const [row, tall] of Object.entries(ROWS)) {
      pen.strokeStyle = colour("--grid");
      pen.lineWidth = 1;
      pen.strokeRect(0.5, top + 0.5, wide - 1, tall);
      for (const one of this.windows) if ((ROW_OF[one.action] || "engine") === row) this.box(pen, colour, one, x, top, tall, wide, now);
      this.line(pen, colour, row, x, top, tall, from);
      this.label(pen, colour, this.words[row], 6, top + 15);
      top += tall + GAP;
    }
    pen.strokeStyle = colour("--ink");
    pen.lineWidth = 3;
    pen.beginPath();
    pen.moveTo(x(now), 0);
    pen.lineTo(x(now), top);
    pen.stroke();
    pen.fillStyle = colour("--ink");
    pen.textAlign = "center";
    pen.fillText(this.words.at, x(now), top + 10);
    for (const away of [-5, 5, 10]) if (x(now + away) > 12 && x(now + away) < wide - 12) pen.fillText(`${away > 0 ? "+" : "−"}${Math.abs(away)} s`, x(now + away), top + 10);
    pen.textAlign = "start";
    this.canvas.dataset.drawn = Number(this.canvas.dataset.drawn || 0) + 1;
  }

  label(pen, colour, text, left, base) {
    pen.fillStyle = colour("--paper");
    pen.globalAlpha = 0.85;
    pen.fillRect(left - 2, base - 12, pen.measureText(text).width + 4, 16);
    pen.globalAlpha = 1;
    pen.fillStyle = colour("--ink");
    pen.fillText(text, left, base);
  }

  box(pen, colour, one, x, top, tall, wide, now) {
    const open = one.from_s === null && one.to_s === null;
    const left = one.from_s === null ? 0 : Math.max(x(one.from_s), 0);
    const right = one.to_s === null ? wide : Math.min(x(one.to_s), wide);
    const aim = x(one.done_s ?? one.aim_s);
    if (!open && right > 0 && left < wide && right > left) {
      pen.save();
      pen.beginPath();
      pen.rect(left, top, right - left, tall);
      pen.clip();
      pen.fillStyle = colour("--track");
      pen.fillRect(left, top, right - left, tall);
      if (one.done_s === null) {
        pen.strokeStyle = colour("--soft");
        pen.lineWidth = 1;
        for (let at = left - tall; at < right; at += 9) { pen.beginPath(); pen.moveTo(at, top + tall); pen.lineTo(at + tall, top); pen.stroke(); }
      }
      pen.restore();
      pen.strokeStyle = colour(one.done_s === null ? "--accent" : "--soft");
      pen.lineWidth = 2;
      pen.setLineDash(one.lost ? [6, 4] : []);
      pen.strokeRect(left + 1, top + 1, right - left - 2, tall - 2);
      pen.setLineDash([]);
    }
    if (aim < -10 || aim > wide + 10) return;
    pen.fillStyle = colour("--ink");
    pen.textAlign = "center";
    const sign = one.done_s === null ? "" : one.lost ? "✗" : "✓";
    pen.font = "bold 17px system-ui, sans-serif";
    pen.fillText(`${SHAPES[one.action] || "■"}${sign}`, Math.min(Math.max(aim, 14), wide - 14), top + tall - 6);
    pen.font = "14px system-ui, sans-serif";
    pen.textAlign = "start";
  }

  line(pen, colour, row, x, top, tall, from) {
    const points = this.points[row === "engine" ? "speed" : row].filter(([at]) => at > from - 30);
    const most = row === "pedal" ? 100 : row === "key" ? 1 : Math.max(1200, ...points.map(([, value]) => value));
    const y = (value) => top + tall - 4 - (value / most) * (tall - 12);
    pen.strokeStyle = colour("--accent");
    pen.lineWidth = 4;
    pen.beginPath();
    let before = null;
    for (const [at, value] of points) {
      if (before && row === "key") { pen.lineTo(x(at), y(before[1])); pen.lineTo(x(at), y(value)); }
      else if (before && at - before[0] < SILENT_S) pen.lineTo(x(at), y(value));
      else pen.moveTo(x(at), y(value));
      before = [at, value];
    }
    if (before && row === "key") pen.lineTo(x(this.drawn), y(before[1]));
    pen.stroke();
  }

  tell(now) {
    if (!this.list || !this.list.closest("details").open) return;
    const whole = (seconds) => Math.max(seconds - now, 0).toFixed(0);
    const say = (one) => {
      if (one.done_s !== null) return this.words[one.lost ? "outside" : "inside"];
      if (one.from_s === null && one.to_s === null) return this.words.any;
      if (one.to_s === null) return this.words.later;
      return one.from_s === null || one.from_s <= now ? this.words.within : this.words.between;
    };
    const lines = this.windows.filter((one) => one.done_s === null ? one.aim_s > now - 20 : one.done_s > now - 60);
    const texts = lines.map((one) => `${SHAPES[one.action] || "■"} ${say(one)}`.replace("{say}", one.say).replace("{from}", one.from_s === null ? "" : whole(one.from_s)).replace("{to}", one.to_s === null ? "" : whole(one.to_s)).replace("{aim}", whole(one.aim_s)));
    if (texts.join("\n") === this.told) return;
    this.told = texts.join("\n");
    this.list.replaceChildren(...texts.map((text) => { const line = document.createElement("li"); line.textContent = text; return line; }));
  }
}
