// On every page: installs the service worker, sends what waits, shows how much that is, leaves nothing behind.

import { forgetStored, send, words } from "./queue.js";

const AGAIN_MS = 15_000;
const SIGNING_OUT_MS = 4_000;

const note = document.getElementById("queue-note");
const user = document.querySelector("[data-user]")?.dataset.user;

async function show(event) {
  const kept = await words();
  const waiting = kept.filter((word) => word.state === "waiting");
  const stuck = kept.filter((word) => word.state === "refused" || word.state === "late");
  const said = waiting.length ? sentence(event.detail, waiting) : stuck.length ? note.dataset.stuck : "";
  note.hidden = !said;
  note.textContent = said.replace("{count}", waiting.length || stuck.length);
  note.classList.toggle("queue-note-stuck", !waiting.length);
  document.documentElement.dataset.waiting = waiting.length;
}

function sentence(connection, waiting) {
  if (connection === "offline" || !navigator.onLine) return note.dataset.offline;
  if (connection === "sign-in") return note.dataset.signIn;
  if (connection === "other" || (user && waiting.every((word) => word.user !== user))) return note.dataset.other;
  return note.dataset.waiting;
}

async function worker(message) {
  const { active } = await navigator.serviceWorker.ready;
  active.postMessage(message);
}

async function tidy() {
  if (!user || !("serviceWorker" in navigator)) return;
  const before = localStorage.getItem("fleetcare-user");
  localStorage.setItem("fleetcare-user", user);
  if (before && before !== user) await worker({ clear: true });
}

async function signOut(event) {
  event.preventDefault();
  const patience = new Promise((done) => setTimeout(done, SIGNING_OUT_MS));
  await Promise.race([send(), patience]);
  await forgetStored();
  event.target.submit();
}

document.addEventListener("fleetcare:words", show);
document.querySelector(".account form")?.addEventListener("submit", signOut);
addEventListener("online", send);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
setInterval(() => document.documentElement.dataset.waiting > 0 && send(), AGAIN_MS);

// Whoever only follows a private link gets nothing installed.
if (user && "serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js");
await tidy();
await send();
