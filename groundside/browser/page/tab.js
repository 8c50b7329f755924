// The name that this tab gives itself, by which it finds its dashboard again after a lost link or a
// reload. It is stored only while the page is hidden or being left: copying a tab copies its storage
// too, and the copy must not find a name that is in use.

const KEY = "tab";

function freshName() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function keep(name) {
  try {
    if (name === null) sessionStorage.removeItem(KEY);
    else sessionStorage.setItem(KEY, name);
  } catch { /* storage is switched off: a reload starts a new dashboard */ }
}

function storedName() {
  try { return sessionStorage.getItem(KEY); } catch { return null; }
}

const stored = storedName();
export const tab = /^[0-9a-f]{32}$/.test(stored ?? "") ? stored : freshName();
if (!document.hidden) keep(null);
window.addEventListener("pagehide", () => keep(tab));
window.addEventListener("pageshow", () => { if (!document.hidden) keep(null); });
document.addEventListener("visibilitychange", () => keep(document.hidden ? tab : null));
