// Light of the page: kept on this device, and told to the server, which sets it before anything is
// drawn. A page that did not come from there, such as the one for when it is away, is set here.
const root = document.documentElement;
const idly = window.requestIdleCallback || ((act) => setTimeout(act, 200));
const keepLight = (light) => {
  localStorage.setItem("light", light);
  // A cookie is written across processes: not while somebody waits for the light.
  idly(() => { document.cookie = `bellmouth_light=${light}; path=/; max-age=31536000; samesite=strict`; });
};
const kept = localStorage.getItem("light");
if (kept && kept !== root.dataset.light) { root.dataset.light = kept; keepLight(kept); }

document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("[data-set-light]")) {
    const show = () => button.setAttribute("aria-pressed", String((root.dataset.light || "day") === button.dataset.setLight));
    show();
    button.addEventListener("click", () => {
      root.dataset.light = button.dataset.setLight;
      keepLight(button.dataset.setLight);
      for (const other of document.querySelectorAll("[data-set-light]"))
        other.setAttribute("aria-pressed", String(other === button));
    });
  }
  for (const form of document.querySelectorAll("form[data-quiet]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const button = event.submitter;
      fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) }).then((answer) => {
        if (!answer.ok) throw new Error();
        for (const one of document.querySelectorAll("form[data-quiet] button")) one.setAttribute("aria-pressed", String(one === button));
      }).catch(() => form.submit());
    });
  }
});

document.addEventListener("DOMContentLoaded", () => {
  // Back is back: a form that was refused still holds what was typed.
  const back = document.querySelector("[data-back]");
  if (back && document.referrer === back.href) back.addEventListener("click", (event) => { event.preventDefault(); history.back(); });
  // A file that will be refused is not sent first.
  for (const field of document.querySelectorAll("input[type=file]")) {
    field.addEventListener("change", () => {
      const large = [...field.files].some((file) => file.size > Number(document.body.dataset.most));
      field.setCustomValidity(large ? document.body.dataset.large : "");
      if (large) field.reportValidity();
    });
  }
});

// Back in a page that changes by itself shows the present; where something was typed it stays.
window.addEventListener("pageshow", (event) => {
  const [entry] = performance.getEntriesByType("navigation");
  if (!event.persisted && !(entry && entry.type === "back_forward")) return;
  const typed = [...document.querySelectorAll("main input, main textarea")].some((field) => field.type === "file" ? field.files.length : field.type === "checkbox" || field.type === "radio" ? field.checked !== field.defaultChecked : field.value !== field.defaultValue);
  if (!typed && document.querySelector("ol.stages")) location.reload();
});

// Installable, and able to say that the server is away; only where the browser allows it, and only
// when the page itself is there.
if (navigator.serviceWorker) window.addEventListener("load", () => navigator.serviceWorker.register("/sw.js").catch(() => {}));
document.addEventListener("DOMContentLoaded", () => {
  const again = document.querySelector("[data-again]");
  if (!again) return;
  again.addEventListener("click", (event) => { event.preventDefault(); location.reload(); });
  // Asked for past the shell: only the server itself answers this.
  if (location.pathname !== "/offline") setInterval(() => fetch("/offline", { cache: "no-store" }).then(() => location.reload()).catch(() => {}), 3000);
});
