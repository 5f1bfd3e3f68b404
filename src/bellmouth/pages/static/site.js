// Light of the page: kept on this device, set before anything is drawn.
const root = document.documentElement;
const kept = localStorage.getItem("light");
if (kept) root.dataset.light = kept;

document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("[data-set-light]")) {
    const show = () => button.setAttribute("aria-pressed", String((root.dataset.light || "day") === button.dataset.setLight));
    show();
    button.addEventListener("click", () => {
      root.dataset.light = button.dataset.setLight;
      localStorage.setItem("light", button.dataset.setLight);
      for (const other of document.querySelectorAll("[data-set-light]"))
        other.setAttribute("aria-pressed", String(other === button));
    });
  }
  const live = document.querySelector("[data-states]");
  if (live) follow(live);
});

// A capture as it goes on. The page works without this: it then shows what was so when it loaded.
function follow(live) {
  const say = (name, text) => { const place = live.querySelector(`[data-tell="${name}"]`); if (place) place.textContent = text; };
  const lost = live.querySelector("[data-lost]");
  const events = new EventSource(live.dataset.states);
  events.onerror = () => { if (lost) lost.hidden = false; };
  events.onmessage = (event) => {
    if (lost) lost.hidden = true;
    const state = JSON.parse(event.data);
    const advice = state.advice;
    say("phase", { opening: "Asking the car what it is", running: "Recording", ended: "Recorded", failed: "It did not work" }[state.phase]);
    say("seconds", `${Math.round(state.seconds)} s`);
    say("samples", `${state.samples} readings`);
    say("doing", state.trouble || (advice && advice.step ? advice.step.do : state.quiet ? "The car has gone quiet: is the ignition on?" : ""));
    say("hint", advice ? advice.hint : state.notes.join(" "));
    say("caution", advice && advice.step ? advice.step.caution : "");
    say("step", advice && advice.step ? `Step ${advice.number} of ${advice.of}` : "");
    const bar = live.querySelector("progress");
    if (bar && advice) bar.value = advice.share;
    if (state.values.engine_speed !== undefined) say("speed", `${Math.round(state.values.engine_speed)} rpm`);
    if (state.phase === "ended" || state.phase === "failed") events.close();
  };
}
