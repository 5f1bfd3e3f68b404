// What is shown: digits to be read from a metre away, the word, the bar, the flash.

const SHAPES = { press: "▼", release: "▲", wait: "■" };
const FLASH_S = 0.25;
const OVER = ["lost", "stopped", "void"];
const SHOWN_S = 0.45; // so long a cue stands where the seconds are

// For how many digits there has to be room: capitals are a third wider, and two are the least.
function room(text) {
  const wide = [...text].reduce((sum, one) => sum + (/\p{L}/u.test(one) ? 1.35 : 1), 0);
  return Math.max(wide, 2);
}

export class Face {
  constructor(root, words) {
    this.root = root;
    this.words = words;
    this.parts = Object.fromEntries([...root.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]));
    this.calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.flashes = true;
    this.calls = false; // one person reads this out, another acts
    this.cue = null;
    this.shown = {};
  }

  put(name, text) {
    if (this.shown[name] === text || !this.parts[name]) return;
    this.shown[name] = text;
    this.parts[name].textContent = text;
  }

  given(cue) {
    this.cue = cue;
    if (cue.kind === "say" || cue.kind === "now" || cue.kind === "soon") this.put("told", cue.text);
    if ((cue.kind === "now" || cue.kind === "beat") && this.flashes && !this.calm) {
      this.root.classList.add("flash");
      setTimeout(() => this.root.classList.remove("flash"), 1000 * FLASH_S);
    }
  }

  draw(view, now) {
    const over = OVER.includes(view.phase); // no step is to be done any more, only the safe state
    const step = over ? null : view.step;
    this.put("place", view.place ? this.words.step.replace("{n}", view.place).replace("{of}", view.of) : this.words.ready);
    const digits = this.digits(view, now);
    if (this.parts.digits && this.shown.digits !== digits) this.parts.digits.style.setProperty("--chars", room(digits));
    this.put("digits", digits);
    this.put("shape", over ? "" : step ? SHAPES[step.tone] || "■" : "■");
    const called = !over && this.cue && this.cue.kind === "now" && this.cue.edge >= 0 && now - this.cue.when < SHOWN_S;
    const say = called ? this.cue.text : step ? step.say : "";
    this.put("say", over ? "" : !say ? this.words.hand : this.calls ? this.words.call.replace("{what}", say) : say);
    this.put("show", step ? step.show : "");
    this.put("caution", step ? step.caution : "");
    this.put("next", over ? "" : view.awaits ? `${this.words.until} ${view.awaits}` : view.next ? `${this.words.next} ${view.next}` : "");
    // Heard by a screen reader either way, and seen once.
    if (this.parts.told) this.parts.told.classList.toggle("heard", [this.shown.next, this.shown.say].includes(this.shown.told) || Boolean(this.shown.told && this.shown.show?.startsWith(this.shown.told)));
    this.put("means", view.means ? `${this.words.tap} ${view.means}` : this.words.idle);
    if (this.parts.bar) this.parts.bar.value = view.length > 0 ? Math.min(view.elapsed / view.length, 1) : 0;
  }

  digits(view, now) {
    if (OVER.includes(view.phase)) return this.words.stop;
    if (view.phase === "done") return "0";
    const fresh = this.cue && now - this.cue.when < SHOWN_S;
    if (fresh && this.cue.kind === "now" && this.cue.edge >= 0) return this.words.now;
    if (fresh && this.cue.kind === "beat" && this.cue.text) return this.cue.text;
    const seconds = view.awaits || view.paused ? Math.floor(view.elapsed) : Math.ceil((Number.isFinite(view.nextIn) ? view.nextIn : view.left) - 1e-6);
    const whole = Math.max(seconds, 0);
    return whole >= 60 ? `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}` : String(whole);
  }
}
