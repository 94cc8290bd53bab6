// The pages of a walk: every tap is kept on the phone at once and sent when it can be; without script they are forms.

import { keepPhoto, move, samePlace, say, send, words } from "./queue.js";

const GRADES = ["sound", "minor", "major", "dangerous"];
const ADVANCE_MS = 220;
const MOST_PX = 2048;
const SMALL_BYTES = 1_000_000;
const ROUNDING = 1e-9;

const frame = document.getElementById("walk").dataset;
const sentences = JSON.parse(frame.words);
const station = document.querySelector(".walk-one, .walk-list");
const checks = [...document.querySelectorAll(".check")];
const told = (key, values = {}) =>
  Object.entries(values).reduce((text, [name, value]) => text.replace(`{${name}}`, value), sentences[key]);

// --- What a form says -------------------------------------------------------------------------------------------------

const worse = (one, other) => (GRADES.indexOf(one) >= GRADES.indexOf(other) ? one : other);
const figure = (text) => (text.trim() ? Number(text.trim().replace(/\s/g, "").replace(",", ".")) : null);

function measured(form) {
  const input = form.elements.value;
  if (!input) return null;
  const value = figure(input.value);
  if (value === null || Number.isNaN(value)) return null;
  const { factor = 1, offset = 0 } = form.elements.unit.selectedOptions?.[0]?.dataset ?? {};
  return value * Number(factor) + Number(offset);
}

function gradeOf(value, limits) {
  const beyond = (threshold) => {
    if (threshold === "") return false;
    const past = limits.direction === "falls" ? threshold - value : value - threshold;
    return past > ROUNDING * Math.max(Math.abs(threshold), Math.abs(value));
  };
  if (beyond(limits.dangerous)) return "dangerous";
  if (beyond(limits.limit)) return "major";
  return beyond(limits.minor) ? "minor" : "sound";
}

function implied(form) {
  const seen = [...form.querySelectorAll("[name=observations]:checked")].map((box) => box.dataset.grade);
  const value = measured(form);
  if (value !== null) seen.push(gradeOf(value, form.elements.value.dataset));
  return seen.length ? seen.reduce(worse) : "";
}

function saidIn(form) {
  const data = new FormData(form);
  const said = {};
  const value = figure(data.get("value") ?? "");
  const observations = data.getAll("observations");
  if (data.get("grade") === "not-examined") said.not_examined = (data.get("other_reason") || data.get("not_examined") || "").trim();
  else if (data.get("grade")) said.grade = data.get("grade");
  if (said.not_examined === "" || Number.isNaN(value)) return null;
  if (value !== null) said.measurement = { value, unit: data.get("unit") };
  if (observations.length) said.observations = observations;
  if (!Object.keys(said).length) return null;
  if (data.get("note").trim()) said.note = data.get("note").trim();
  return said;
}

function fill(form, said) {
  const grade = said.not_examined ? "not-examined" : said.grade;
  form.dataset.chosen = grade ?? "";
  form.querySelectorAll("[name=grade]").forEach((box) => { box.checked = box.value === grade; });
  form.querySelectorAll("[name=observations]").forEach((box) => { box.checked = said.observations?.includes(box.value) ?? false; });
  if (form.elements.value) form.elements.value.value = said.measurement?.value ?? "";
  if (said.measurement && form.elements.unit.options) form.elements.unit.value = said.measurement.unit;
  if (said.not_examined) form.elements.other_reason.value = said.not_examined;
  form.elements.note.value = said.note ?? "";
}

// --- What a check shows -----------------------------------------------------------------------------------------------

function hint(form) {
  const input = form.elements.value;
  if (!input) return;
  const line = form.querySelector(".check-hint");
  const value = measured(form);
  const absurd = value !== null && (value < Number(input.dataset.least) || value > Number(input.dataset.most));
  const bad = absurd || (value === null && input.value.trim() !== "");
  const grade = bad || value === null ? "" : gradeOf(value, input.dataset);
  line.textContent = bad ? line.dataset.absurd : grade ? line.dataset[grade] : "";
  line.dataset.grade = bad ? "absurd" : grade;
  input.toggleAttribute("aria-invalid", bad);
}

// What is seen or measured pulls the grade up with it, and lets it go again; what a person chose stays the least.
function pull(form) {
  const chosen = form.dataset.chosen ?? "";
  if (chosen === "not-examined") return;
  const least = [chosen, implied(form)].filter(Boolean);
  const grade = least.length ? least.reduce(worse) : "";
  form.querySelectorAll("[name=grade]").forEach((box) => { box.checked = box.value === grade; });
}

function mark(grade, word) {
  const holder = document.createElement("span");
  holder.className = `grade grade-${grade}`;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  svg.setAttribute("class", "mark");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#mark-${grade}`);
  svg.append(use);
  const text = document.createElement("span");
  text.textContent = word;
  holder.append(svg, text);
  return holder;
}

function showWord(check, word) {
  const form = check.querySelector("form");
  const line = check.querySelector(".check-sending");
  line.hidden = false;
  line.textContent = told(word.state, { detail: word.detail });
  line.dataset.state = word.state;
  check.classList.toggle("check-done", word.state !== "refused");
  if (word.said.same_as_last) {
    check.querySelector(".check-state").replaceChildren(check.querySelector(".check-last .grade").cloneNode(true));
    return;
  }
  const grade = form.querySelector("[name=grade]:checked")?.value || implied(form);
  if (grade) {
    const named = form.querySelector(`[name=grade][value=${grade}] + .pick-face`).textContent.trim();
    check.querySelector(".check-state").replaceChildren(mark(grade, named));
  }
}

function showPhotos(check, waiting) {
  const line = check.querySelector(".photo-state");
  if (!line) return;
  const refused = waiting.find((word) => word.state === "refused");
  if (!waiting.length && line.textContent) line.textContent = told("photo_stored");
  else if (refused) line.textContent = told("refused", { detail: refused.detail });
  else if (waiting.length) line.textContent = told("photos", { count: waiting.length });
}

// Small enough for a weak connection; what this browser cannot open is sent as it is.
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, MOST_PX / Math.max(picture.width, picture.height));
    if (scale === 1 && file.size < SMALL_BYTES) return file;
    const canvas = new OffscreenCanvas(Math.round(picture.width * scale), Math.round(picture.height * scale));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return await canvas.convertToBlob({ type: "image/jpeg", quality: 0.85 });
  } catch {
    return file;
  }
}

function photographing(check) {
  const form = check.querySelector(".check-photo");
  form?.querySelector("input[type=file]").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    const photo = await smaller(file);
    const { walk, vehicle, user, device, photos: url } = frame;
    await keepPhoto({ walk, vehicle, user, device, url, check: check.dataset.check, position: check.dataset.position, photo });
    event.target.value = "";
    send();
  });
}

function progress() {
  const bar = document.querySelector(".walk-bar");
  if (!bar || !station) return;
  bar.value = checks.filter((check) => check.matches(".check-done")).length;
  document.querySelector(".walk-done").textContent = told("done", { done: bar.value, all: bar.max });
}

// --- Saying and showing -----------------------------------------------------------------------------------------------

async function sayOf(check, said) {
  const { walk, vehicle, user, device, entries: url } = frame;
  const place = { walk, check: check.dataset.check, position: check.dataset.position };
  const wasOpen = !check.matches(".check-done");
  const before = (await words()).findLast((each) => !each.photo && samePlace(each, place));
  const again = before && before.state !== "refused" && JSON.stringify(before.said) === JSON.stringify(said);
  // Leaving a field and pressing "save" say the same twice; the page itself may hold a later word from another phone.
  if (again && standsOver(before)) return;
  await say({ ...place, vehicle, user, device, url, station: frame.station, said, wasOpen });
  await show();
  send();
}

// A word stands over the page where the page is older than it: it waits, or the page came from the phone.
const standsOver = (word) => word.state !== "stored" && word.state !== "overtaken" ? true : word.storedAt > Number(frame.rendered);

async function show() {
  const all = (await words()).filter((word) => word.walk === frame.walk);
  const mine = all.filter((word) => !word.photo);
  for (const check of checks) {
    showPhotos(check, all.filter((word) => word.photo && word.check === check.dataset.check && word.position === check.dataset.position));
    const place = { walk: frame.walk, check: check.dataset.check, position: check.dataset.position };
    const word = mine.findLast((each) => samePlace(each, place));
    if (!word || !standsOver(word)) continue;
    if (!check.contains(document.activeElement) && !word.said.same_as_last) fill(check.querySelector("form"), word.said);
    hint(check.querySelector("form"));
    showWord(check, word);
  }
  progress();
  overview(mine);
}

function overview(mine) {
  const over = mine.filter((word) => standsOver(word) && word.wasOpen && word.state !== "refused");
  const places = over.filter((word, at) => over.findIndex((each) => samePlace(each, word)) === at);
  for (const count of document.querySelectorAll(".walk-station-count[data-station]")) {
    const { station: key, done, all } = count.dataset;
    const here = places.filter((word) => word.station === key).length;
    count.textContent = told("done", { done: Math.min(Number(done) + here, Number(all)), all });
  }
}

function enhance(check) {
  const form = check.querySelector("form");
  form.dataset.chosen = form.querySelector("[name=grade]:checked")?.value ?? "";
  hint(form);
  form.addEventListener("input", () => hint(form));
  form.addEventListener("change", (event) => {
    if (event.target.name === "grade") form.dataset.chosen = event.target.value;
    pull(form);
    const said = saidIn(form);
    if (said) sayOf(check, said);
  });
  form.addEventListener("click", (event) => {
    // A tap on "sound" goes on; arrow keys pass over it without (their clicks have no detail).
    const tapped = event.target.name === "grade" && event.target.value === "sound" && event.detail > 0;
    if (tapped && !form.elements.value && station.matches(".walk-one")) setTimeout(goOn, ADVANCE_MS, form);
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = saidIn(form);
    if (said) await sayOf(check, said);
    if (station.matches(".walk-one") && !form.querySelector("[aria-invalid]")) goOn(form);
  });
}

function goOn(form) {
  location.hash = form.elements.following.value;
}

function focusTarget() {
  const target = document.querySelector(":target");
  if (station?.matches(".walk-one")) target?.querySelector("h2, .walk-end-title, h1")?.focus({ preventScroll: true });
}

function layouts() {
  for (const link of document.querySelectorAll("[data-layout]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const { layout } = link.dataset;
      document.cookie = `walk-layout=${layout}; path=/; max-age=63072000; samesite=lax${location.protocol === "https:" ? "; secure" : ""}`;
      station.classList.toggle("walk-one", layout === "one");
      station.classList.toggle("walk-list", layout === "list");
      document.querySelectorAll(".check-more").forEach((more) => { more.open = layout === "one"; });
      document.querySelectorAll("[data-layout]").forEach((each) => each.toggleAttribute("aria-current", each === link));
      if (layout === "list") history.replaceState(null, "", location.pathname);
    });
  }
}

function repeating() {
  document.querySelector(".walk-repeat")?.addEventListener("submit", async (event) => {
    event.preventDefault();
    for (const check of checks) {
      if ("repeatable" in check.dataset && !check.matches(".check-done")) await sayOf(check, { same_as_last: true });
    }
    event.target.hidden = true;
  });
}

async function finishing() {
  document.getElementById("finish")?.addEventListener("submit", async (event) => {
    event.preventDefault();
    await send();
    const left = (await words()).filter((word) => word.walk === frame.walk && word.state === "waiting");
    if (!left.length) return event.target.submit();
    const line = document.getElementById("unsent");
    line.hidden = false;
    line.textContent = told("wait", { count: left.length });
  });
}

async function late() {
  const all = (await words()).filter((word) => word.state === "late" && !word.photo && word.vehicle === frame.vehicle && word.user === frame.user);
  const others = all.filter((word) => word.walk !== frame.walk);
  const place = document.querySelector(".walk-head");
  if (!others.length || !place) return;
  const button = document.createElement("button");
  button.className = "button button-quiet walk-late";
  button.textContent = told("add", { count: others.length });
  button.addEventListener("click", async () => {
    await move(others, frame.walk, frame.entries);
    button.remove();
    await send();
    location.reload();
  });
  place.append(button);
}

async function keep() {
  const mark = `kept-${frame.walk}`;
  if (!("serviceWorker" in navigator) || sessionStorage.getItem(mark)) return;
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data.kept !== data.of) return;
    sessionStorage.setItem(mark, "yes");
    document.documentElement.dataset.kept = "yes";
  });
  const { active } = await navigator.serviceWorker.ready;
  active.postMessage({ keep: frame.kept.split(" ") });
}

document.documentElement.classList.add("scripted");
checks.forEach(enhance);
checks.forEach(photographing);
layouts();
repeating();
finishing();
addEventListener("hashchange", focusTarget);
document.addEventListener("fleetcare:words", () => show());
addEventListener("pageshow", (event) => event.persisted && location.reload());
await show();
await late();
await keep();
