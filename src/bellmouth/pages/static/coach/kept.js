import { sentence } from "./live.js";

// Who is not let in now may be later: paired again, or asked less often.
const LATER = [401, 403, 408, 421, 429];

// An attempt's taps, kept on this device until the server has them: nothing is lost where it is
// away, and one that was left in the middle is sent as void when the page is opened again.

export class Kept {
  constructor(base) { this.name = `taps ${base} `; this.base = base; }

  // So far: only this tab may tell of it, because only this tab knows whether it goes on.
  going(taps) { sessionStorage.setItem(this.name + taps.id, JSON.stringify(taps)); }

  over(taps) {
    sessionStorage.removeItem(this.name + taps.id);
    localStorage.setItem(this.name + taps.id, JSON.stringify(taps));
  }

  // What was never taken, of this tab and of tabs that are closed.
  left() {
    return [sessionStorage, localStorage].flatMap((store) => Object.keys(store).filter((name) => name.startsWith(this.name)).map((name) => JSON.parse(store.getItem(name))));
  }

  // Gives the address of the judgement, or why there is none; throws where the server is away.
  async send(taps) {
    const body = JSON.stringify(taps);
    // What is to outlive the page may not be large.
    const answer = await fetch(`${this.base}/attempt`, { method: "POST", keepalive: body.length < 60000, headers: { "content-type": "application/json" }, body });
    if (answer.status >= 500 || LATER.includes(answer.status)) throw new Error();
    for (const store of [sessionStorage, localStorage]) store.removeItem(this.name + taps.id);
    return answer.ok ? { see: (await answer.json()).see, why: "" } : { see: "", why: await sentence(answer) };
  }
}
