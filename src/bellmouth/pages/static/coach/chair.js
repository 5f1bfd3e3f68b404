// Who drives: this page or another. It says again and again that it is there, and learns when
// another took over or the server is away.

const EVERY_MS = 2000;

export class Chair {
  constructor(base, lost) {
    Object.assign(this, { base, lost, drives: false, id: "", taken: () => {} });
    setInterval(() => this.beat(), EVERY_MS);
  }

  async sit(take = false) {
    const answer = await fetch(`${this.base}/seat`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ id: this.id, take }) });
    if (!answer.ok) throw answer;
    const told = await answer.json();
    this.drives = told.drives;
    return told;
  }

  async beat() {
    if (!this.drives) return;
    try {
      const told = await this.sit();
      this.lost.hidden = true;
      if (!told.drives) this.taken();
    } catch (error) {
      if (!(error instanceof Response)) this.lost.hidden = false;
    }
  }

  leave() {
    if (!this.drives) return;
    this.drives = false;
    fetch(`${this.base}/seat/leave`, { method: "POST", keepalive: true, headers: { "content-type": "application/json" }, body: JSON.stringify({ id: this.id }) }).catch(() => {});
  }
}

// A mark of an attempt's own, so that what is sent twice is kept once.
export function mark() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
