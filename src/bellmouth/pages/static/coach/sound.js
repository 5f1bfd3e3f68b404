// Tones on the audio clock, each scheduled ahead; words, vibration and flash where wanted.

const LONG_S = { tick: 0.03, lead: 0.08, press: 0.2, release: 0.2, wait: 0.12, stop: 0.8, done: 0.5 };

export class Sound {
  constructor(clock, tones) {
    this.clock = clock;
    this.tones = tones;
    this.early = 0; // sound comes so much later out of this device than it was asked for [s]
    this.waiting = new Set();
    this.log = []; // what was scheduled: name and moment on the audio clock, and when it was
  }

  // Sound a tone so that it is heard at a moment of the audio clock [s].
  tone(name, when) {
    const context = this.clock.context;
    if (!context || !this.tones[name]) return;
    const laid = context.currentTime;
    const at = Math.max(when - this.early, laid);
    const length = LONG_S[name] || 0.1;
    const pitch = this.tones[name];
    const wave = context.createOscillator();
    const loud = context.createGain();
    wave.frequency.setValueAtTime(pitch, at);
    if (name === "press" || name === "release") wave.frequency.linearRampToValueAtTime(pitch * (name === "press" ? 1.25 : 0.75), at + length);
    loud.gain.setValueAtTime(0, at);
    loud.gain.linearRampToValueAtTime(name === "tick" ? 0.25 : 0.6, at + 0.003);
    loud.gain.setValueAtTime(name === "tick" ? 0.25 : 0.6, at + length - 0.005);
    loud.gain.linearRampToValueAtTime(0, at + length);
    wave.connect(loud).connect(this.out || context.destination);
    wave.start(at);
    wave.stop(at + length + 0.01);
    const one = { wave, at };
    this.waiting.add(one);
    wave.onended = () => this.waiting.delete(one);
    this.log.push({ name, when, at, laid });
  }

  // Take back whatever has not sounded yet.
  hush() {
    const now = this.clock.context ? this.clock.context.currentTime : 0;
    for (const one of this.waiting) if (one.at > now) { one.wave.stop(); this.waiting.delete(one); }
    this.log = this.log.filter((one) => one.at <= now);
  }
}

export function say(text) {
  if (!window.speechSynthesis || !text) return;
  window.speechSynthesis.cancel();
  const spoken = new SpeechSynthesisUtterance(text);
  spoken.lang = document.documentElement.lang || "en";
  spoken.rate = 1.2;
  window.speechSynthesis.speak(spoken);
}

export function shake(tone) {
  if (!navigator.vibrate) return;
  navigator.vibrate({ press: [120], release: [60, 60, 60], wait: [40], stop: [400, 100, 400] }[tone] || [20]);
}
