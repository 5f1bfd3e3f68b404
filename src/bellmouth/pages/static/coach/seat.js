// Key, starter and pedal of the practice car, by finger, foot switch or keyboard.

const seat = document.querySelector(".seat");
const root = seat && seat.closest("[data-coach]");
const words = root && JSON.parse(root.dataset.words);
const act = root && root.dataset.coach.replace(/\/learning\/.*/, "/practice/act");
const LAMPS = { off: "○", on: "●", blinking: "◐" };
let state = { key: 0 };

// One after another: a foot that comes off must not overtake its own press.
let moved = Promise.resolve();
function move(control, value) {
  if (root.dataset.watching) return;
  moved = moved.then(() => fetch(act, { method: "POST", body: new URLSearchParams({ control, value }) })).catch(() => {});
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
    if (event.repeat || (root.dataset.phase !== "running" && !root.hasAttribute("data-after")) || root.dataset.watching) return;
    const key = event.key.toLowerCase();
    // Whoever is at the stop by keyboard means the stop.
    if (key === " " && !event.target.closest("[data-stop]")) { event.preventDefault(); pedal(true); }
    if (key === "k") turn();
    if (key === "s") move("key", 3);
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
    const told = [words[`lamp_${detail.lamp}`], words[detail.key >= 2 ? "key_on" : "key_off"], words[detail.running ? "runs" : "stands"], ...(detail.plate ? [`≋ ${words.whirrs}`] : [])].join(" · ");
    const place = seat.querySelector("[data-seat]");
    if (place.textContent !== told) place.textContent = told;
  });
}
