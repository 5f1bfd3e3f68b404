// Key, starter and pedal of the practice car, by finger, foot switch or keyboard.

const seat = document.querySelector(".seat");
const act = seat && seat.closest("[data-coach]").dataset.coach.replace(/\/learning\/.*/, "/practice/act");
const LAMPS = { off: "○", on: "●", blinking: "◐" };
const SPAN_S = 20;
let state = { key: 0 };
let trace = [];

function move(control, value) {
  fetch(act, { method: "POST", body: new URLSearchParams({ control, value }) }).catch(() => {});
}
const button = (name) => seat.querySelector(`[data-act="${name}"]`);
function pedal(down) {
  if ((button("pedal").getAttribute("aria-pressed") === "true") === down) return;
  button("pedal").setAttribute("aria-pressed", String(down));
  move("pedal_pct", down ? 100 : 0);
}
function turn() {
  state.key = state.key >= 2 ? 0 : 2;
  button("key").setAttribute("aria-pressed", String(state.key >= 2));
  move("key", state.key);
}

if (seat) {
  button("key").addEventListener("click", turn);
  button("start").addEventListener("click", () => move("key", 3));
  button("pedal").addEventListener("pointerdown", (event) => { event.target.setPointerCapture(event.pointerId); pedal(true); });
  for (const kind of ["pointerup", "pointercancel"]) button("pedal").addEventListener(kind, () => pedal(false));
  document.addEventListener("keydown", (event) => {
    if (event.repeat || seat.closest("[data-phase]").dataset.phase !== "running") return;
    if (event.key === " ") { event.preventDefault(); pedal(true); }
    if (event.key === "k") turn();
    if (event.key === "s") move("key", 3);
  });
  document.addEventListener("keyup", (event) => { if (event.key === " ") pedal(false); });
  document.addEventListener("seat", ({ detail }) => {
    state = detail;
    button("key").setAttribute("aria-pressed", String(detail.key >= 2));
    const lamp = seat.querySelector("[data-lamp]");
    if (lamp.dataset.lamp !== detail.lamp) {
      lamp.dataset.lamp = detail.lamp;
      lamp.firstElementChild.textContent = LAMPS[detail.lamp];
    }
    const told = `Lamp ${detail.lamp} · key ${detail.key >= 2 ? "on" : "off"} · engine ${detail.running ? "running" : "stopped"}${detail.plate ? " · the plate whirrs" : ""}`;
    const place = seat.querySelector("[data-seat]");
    if (place.textContent !== told) place.textContent = told;
  });
  document.addEventListener("pedal", ({ detail }) => {
    trace = trace.concat(detail).slice(-2000);
    const last = trace.length ? trace.at(-1)[0] : 0;
    const shown = trace.filter(([at]) => at > last - SPAN_S);
    seat.querySelector("[data-trace]").setAttribute("d", shown.map(([at, value], i) => `${i ? "L" : "M"}${(600 - (600 / SPAN_S) * (last - at)).toFixed(1)} ${(84 - 0.8 * value).toFixed(1)}`).join(""));
  });
}
