// Pictures that answer: each figure that has data gets a drawing of its own over the picture that
// the server drew, which stays for print and for whoever has no scripts. Nothing in it moves by
// itself. A line is told by colour, dash and marker together.

const words = JSON.parse(document.querySelector("[data-plot-words]").dataset.plotWords);
const lang = document.documentElement.lang;
const HEIGHT = 300;
const NEAR = 14; // a point is pointed at from so far [px]
const DASHES = [[], [], [8, 4], [2, 3], [8, 3, 2, 3], [5, 2, 1, 2]];
const MARKERS = ["circle", "diamond", "square", "triangle", "cross", "circle"];
const colour = (style) => getComputedStyle(document.documentElement).getPropertyValue(style ? `--c${style}` : "--ink").trim();
const ink = (name) => () => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const short = (value) => new Intl.NumberFormat(lang, Math.abs(value) >= 1000 ? { maximumFractionDigits: 0 } : { maximumSignificantDigits: 3 }).format(value);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
// A unit stays on the line of its number.
const unit = (axis) => (axis.unit ? `\u00a0${axis.unit}` : "");
const all = [];

// A marker's outline about the origin, for a canvas and for an SVG alike.
function outline(marker, r) {
  if (marker === "square") return `M${-r} ${-r}H${r}V${r}H${-r}Z`;
  if (marker === "triangle") return `M0 ${-1.2 * r}L${1.1 * r} ${r}H${-1.1 * r}Z`;
  if (marker === "diamond") return `M0 ${-1.3 * r}L${1.3 * r} 0L0 ${1.3 * r}L${-1.3 * r} 0Z`;
  if (marker === "cross") return `M${-r} ${-r}L${r} ${r}M${-r} ${r}L${r} ${-r}`;
  return `M${-r} 0A${r} ${r} 0 1 0 ${r} 0A${r} ${r} 0 1 0 ${-r} 0Z`;
}

// Round numbers along an axis; 1, 2, 5 on a logarithmic one.
function ticks(axis, min, max, most) {
  if (Object.keys(axis.places).length) return Object.keys(axis.places).map(Number).filter((at) => at >= min && at <= max);
  const found = [];
  if (axis.log) {
    const whole = Math.log10(max / min) > 1;
    for (let power = Math.floor(Math.log10(min)); power <= Math.log10(max); power += 1)
      for (const one of whole ? [1, 2, 5] : [1, 1.5, 2, 3, 4, 5, 6, 8]) found.push(one * 10 ** power);
    return found.filter((at) => at >= min && at <= max);
  }
  const rough = (max - min) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough);
  for (let at = Math.ceil(min / step) * step; at <= max + step * 1e-9; at += step) found.push(Math.abs(at) < step * 1e-9 ? 0 : at);
  return found;
}

function reach(axis, values, pad) {
  let [min, max] = [Math.min(...values), Math.max(...values)];
  if (axis.log) { const by = (max / min) ** pad * 1.05; return [min / by, max * by]; }
  if (Object.keys(axis.places).length) return [min - 0.5, max + 0.5];
  const by = (max - min) * pad || 1;
  if (min >= 0 && min < by) min = by;
  return [min - by, max + by];
}

// The value of a line at x: drawn straight between its points.
function between(xs, ys, x) {
  for (let i = 1; i < xs.length; i += 1) if (xs[i - 1] <= x && x <= xs[i]) return ys[i - 1] + ((ys[i] - ys[i - 1]) * (x - xs[i - 1])) / (xs[i] - xs[i - 1] || 1);
  return null;
}

class Picture {
  constructor(figure, plot) {
    Object.assign(this, { figure, plot, hidden: new Set(), at: null });
    const heights = plot.lines.flatMap((one) => [...one.y, ...one.low, ...one.high]);
    this.whole = reach(plot.x, plot.lines.flatMap((one) => one.x), 0.04);
    this.x = [...this.whole];
    this.y = reach(plot.y, plot.y.log ? heights.filter((one) => one > 0) : heights, 0.08);
    const marked = plot.lines.filter((one) => one.shape === "points" || one.shape === "joined" || one.shape === "event");
    this.stops = [...new Set((marked.length ? marked : plot.lines).flatMap((one) => one.x))].sort((a, b) => a - b);
    this.build();
  }

  build() {
    this.box = Object.assign(document.createElement("div"), { className: "plot", tabIndex: 0 });
    const said = { role: "slider", "aria-label": this.plot.title, "aria-valuemin": this.whole[0], "aria-valuemax": this.whole[1], "aria-valuenow": this.stops[0], "aria-valuetext": words.hint };
    for (const [name, value] of Object.entries(said)) this.box.setAttribute(name, value);
    this.told = Object.assign(document.createElement("p"), { className: "told small", textContent: words.hint });
    this.keys = this.legend();
    const old = this.figure.querySelector(":scope > svg, :scope > img");
    old.before(this.box, this.told, this.keys);
    this.figure.classList.add("alive");
    this.draw();
    this.box.addEventListener("keydown", (event) => this.pressed(event));
    new ResizeObserver(() => { if (this.box.clientWidth && this.box.clientWidth !== this.chart.width) this.chart.setSize({ width: this.box.clientWidth, height: HEIGHT }); }).observe(this.box);
  }

  draw() {
    const { plot } = this;
    this.xs = [...new Set(plot.lines.flatMap((one) => one.x))].sort((a, b) => a - b);
    const column = (line, ys) => { const told = new Map(line.x.map((x, i) => [x, ys[i]])); return this.xs.map((x) => (told.has(x) ? told.get(x) : null)); };
    const data = [this.xs], series = [{}], bands = [];
    this.of = [];
    for (const line of plot.lines) {
      const { style, shape } = line;
      const stroke = () => colour(style);
      const shown = { spanGaps: true, points: { show: false } };
      this.of.push(series.length);
      if (shape === "band") {
        data.push(column(line, line.high), column(line, line.low));
        series.push({ ...shown, stroke, width: 1, dash: DASHES[style] }, { ...shown, stroke, width: 1, dash: DASHES[style] });
        bands.push({ series: [series.length - 2, series.length - 1], fill: () => `${colour(style)}2e` });
      } else {
        data.push(column(line, line.y));
        series.push({ ...shown, stroke, width: shape === "points" || shape === "event" ? 0 : 2, dash: DASHES[style] });
      }
    }
    const axis = (of, most) => ({
      stroke: ink("--ink"), grid: { stroke: ink("--grid"), width: 1 }, ticks: { stroke: ink("--grid") }, font: "13px system-ui", labelFont: "13px system-ui", labelSize: 22,
      label: of.unit ? `${of.name} [${of.unit}]` : of.name, splits: (_, __, min, max) => ticks(of, min, max, most), filter: (_, splits) => splits,
      values: (_, splits) => splits.map((at) => of.places[at] || short(at)),
    });
    const narrow = this.box.clientWidth < 480;
    const named = Object.values(plot.x.places), most = Math.max(0, ...named.map((one) => (narrow ? one.split(" ").pop() : one).length));
    // Words of 13 px that would run into each other are left to the table: the numbers stand.
    const crowded = named.length * (most * 7 + 8) > this.box.clientWidth - 70;
    const along = axis(plot.x, narrow ? 4 : 7);
    if (crowded) along.values = (_, splits) => splits.map((at) => short(at));
    // Number above word: side by side the words of some languages run into each other.
    else if (narrow && named.length) Object.assign(along, { size: 62, values: (_, splits) => splits.map((at) => (plot.x.places[at] || short(at)).replace(" ", "\n")) });
    this.chart = new window.uPlot({
      width: this.box.clientWidth || 340, height: HEIGHT, legend: { show: false }, series, bands, pxAlign: 0,
      scales: { x: { time: false, distr: plot.x.log ? 3 : 1, range: () => this.x }, y: { distr: plot.y.log ? 3 : 1, range: () => this.y } },
      axes: [along, { ...axis(plot.y, 5), size: 52 }],
      cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false }, bind: { dblclick: () => () => this.zoom(0) } },
      hooks: {
        draw: [(chart) => this.mark(chart)],
        setSelect: [(chart) => { const { left, width } = chart.select; if (width > 8) this.show(chart.posToVal(left, "x"), chart.posToVal(left + width, "x")); chart.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false); }],
      },
    }, data, this.box);
    this.box.querySelector("canvas").setAttribute("aria-hidden", "true");
    this.chart.over.addEventListener("pointermove", (event) => this.point(this.chart.posToVal(event.offsetX, "x")));
    this.chart.over.addEventListener("pointerdown", (event) => this.point(this.chart.posToVal(event.offsetX, "x")));
  }

  // Markers, intervals and events, which the library does not draw.
  mark(chart) {
    const { ctx, bbox } = chart;
    const px = window.uPlot.pxRatio;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    this.plot.lines.forEach((line, index) => {
      if (this.hidden.has(index) || line.shape === "line" || line.shape === "band") return;
      ctx.strokeStyle = ctx.fillStyle = colour(line.style);
      ctx.lineWidth = 1.5 * px;
      line.x.forEach((x, i) => {
        const left = chart.valToPos(x, "x", true);
        ctx.setLineDash(line.shape === "event" ? [2 * px, 3 * px] : []);
        ctx.beginPath();
        if (line.shape === "event") { ctx.moveTo(left, bbox.top); ctx.lineTo(left, bbox.top + bbox.height); ctx.stroke(); return; }
        if (line.low.length && line.high[i] > line.low[i]) {
          const [low, high] = [line.low[i], line.high[i]].map((one) => chart.valToPos(one, "y", true));
          ctx.moveTo(left, low); ctx.lineTo(left, high);
          for (const end of [low, high]) { ctx.moveTo(left - 4 * px, end); ctx.lineTo(left + 4 * px, end); }
          ctx.stroke();
        }
        const path = new Path2D(outline(MARKERS[line.style], 4 * px));
        ctx.translate(left, chart.valToPos(line.y[i], "y", true));
        if (MARKERS[line.style] === "cross") ctx.stroke(path); else ctx.fill(path);
        ctx.setTransform(1, 0, 0, 1, 0, 0);
      });
    });
    ctx.restore();
  }

  legend() {
    const group = Object.assign(document.createElement("div"), { className: "keys" });
    group.setAttribute("role", "group");
    group.setAttribute("aria-label", words.lines);
    this.plot.lines.forEach((line, index) => {
      const button = Object.assign(document.createElement("button"), { type: "button" });
      button.setAttribute("aria-pressed", "true");
      button.append(sample(line), line.name);
      button.addEventListener("click", () => this.toggle(index, button));
      group.append(button);
    });
    for (const [name, by] of [["closer", 2], ["further", 0.5], ["whole", 0]]) {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: words[name], className: "view" });
      button.addEventListener("click", () => this.zoom(by));
      group.append(button);
    }
    return group;
  }

  toggle(index, button) {
    const hide = !this.hidden.has(index);
    if (hide) this.hidden.add(index); else this.hidden.delete(index);
    button.setAttribute("aria-pressed", String(!hide));
    this.chart.setSeries(this.of[index], { show: !hide });
    if (this.plot.lines[index].shape === "band") this.chart.setSeries(this.of[index] + 1, { show: !hide });
    if (this.at !== null) this.point(this.at);
  }

  zoom(by) {
    if (by === 0) { this.show(...this.whole); return; }
    const { log } = this.plot.x;
    const to = log ? Math.log : (one) => one, back = log ? Math.exp : (one) => one;
    const [min, max] = this.x.map(to);
    const middle = this.at === null ? (min + max) / 2 : to(this.at), half = (max - min) / 2 / by;
    this.show(back(middle - half), back(middle + half));
  }

  // Never beyond the whole.
  show(min, max) {
    this.x = [Math.max(min, this.whole[0]), Math.min(max, this.whole[1])];
    if (!(this.x[1] > this.x[0])) this.x = [...this.whole];
    this.chart.setScale("x", { min: this.x[0], max: this.x[1] });
  }

  pressed(event) {
    const { key } = event;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (key === "+") this.zoom(2);
    else if (key === "-") this.zoom(0.5);
    else if (key === "0") this.zoom(0);
    else if (key === "Home") this.go(this.stops[0]);
    else if (key === "End") this.go(this.stops.at(-1));
    else if (key === "ArrowRight" || key === "ArrowUp") this.go(this.at === null ? this.stops[0] : this.stops.find((one) => one > this.at) ?? this.stops.at(-1));
    else if (key === "ArrowLeft" || key === "ArrowDown") this.go(this.at === null ? this.stops.at(-1) : this.stops.findLast((one) => one < this.at) ?? this.stops[0]);
    else return;
    event.preventDefault();
  }

  go(x) {
    if (x < this.x[0] || x > this.x[1]) this.show(...this.whole);
    // The library takes a new scale only after this.
    queueMicrotask(() => { this.point(x); this.chart.setCursor({ left: this.chart.valToPos(x, "x"), top: 0 }); });
  }

  point(x) {
    this.at = x;
    const parts = this.plot.lines.flatMap((line, index) => (this.hidden.has(index) ? [] : this.read(line, x)));
    const where = Object.keys(this.plot.x.places).length ? this.plot.x.places[Math.round(x)] || "" : `${this.plot.x.name} ${short(x)}${unit(this.plot.x)}`;
    this.told.textContent = `${where}: ${parts.join("; ") || "–"}`;
    this.box.setAttribute("aria-valuenow", x);
    this.box.setAttribute("aria-valuetext", this.told.textContent);
  }

  // What a line says at x, as none or one or several short texts.
  read(line, x) {
    const own = unit(this.plot.y);
    const span = (low, high) => fill(words.to, { low: short(low), high: short(high) });
    if (line.shape === "line") { const y = between(line.x, line.y, x); return y === null ? [] : [`${line.name} ${short(y)}${own}`]; }
    if (line.shape === "band") { const low = between(line.x, line.low, x); return low === null ? [] : [`${line.name} ${span(low, between(line.x, line.high, x))}${own}`]; }
    const here = this.chart.valToPos(x, "x");
    const places = Object.keys(this.plot.x.places).length > 0;
    return line.x.flatMap((at, i) => {
      if (places ? Math.round(at) !== Math.round(x) : Math.abs(this.chart.valToPos(at, "x") - here) > NEAR) return [];
      if (line.shape === "event") return [`${line.name} (${short(at)})`];
      const wide = line.low.length && line.high[i] > line.low[i] ? ` (${span(line.low[i], line.high[i])})` : "";
      const which = line.told[i] && !places ? ` [${line.told[i]}]` : "";
      return [`${line.name}${which} ${short(line.y[i])}${own}${wide}`];
    });
  }
}

// How a line looks, beside its name.
function sample(line) {
  const make = (name, values) => { const one = document.createElementNS("http://www.w3.org/2000/svg", name); for (const [key, value] of Object.entries(values)) one.setAttribute(key, value); return one; };
  const svg = make("svg", { viewBox: "-16 -8 32 16", width: 32, height: 16, "aria-hidden": "true" });
  const stroke = `var(${line.style ? `--c${line.style}` : "--ink"})`;
  const put = (one, style) => { Object.assign(one.style, style); svg.append(one); };
  if (line.shape === "band") put(make("rect", { x: -15, y: -6, width: 30, height: 12, "fill-opacity": 0.2, "stroke-dasharray": DASHES[line.style].join(" ") }), { fill: stroke, stroke });
  if (line.shape === "line" || line.shape === "joined") put(make("path", { d: "M-16 0H16", "stroke-width": 2, "stroke-dasharray": DASHES[line.style].join(" ") }), { stroke });
  if (line.shape === "event") put(make("path", { d: "M0 -8V8", "stroke-width": 2, "stroke-dasharray": "2 3" }), { stroke });
  if (line.shape === "points" || line.shape === "joined") put(make("path", { d: outline(MARKERS[line.style], 4) }), MARKERS[line.style] === "cross" ? { stroke, fill: "none" } : { fill: stroke });
  return svg;
}

for (const figure of document.querySelectorAll("[data-plot]")) all.push(new Picture(figure, JSON.parse(figure.dataset.plot)));
const again = () => all.forEach(({ chart }) => chart.redraw(false, true));
new MutationObserver(again).observe(document.documentElement, { attributes: true, attributeFilter: ["data-light"] });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
