// What was said on this phone, kept until the server has it: each word under its own id, so that it can be sent again.

const STORE = "words";
const MOST_AT_ONCE = 50;
const KEPT_DAYS = 14;
const DAY_MS = 86_400_000;

let opened;

function database() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open("fleetcare", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

async function run(mode, act) {
  const store = (await database()).transaction(STORE, mode).objectStore(STORE);
  return new Promise((done, failed) => {
    const asked = act(store);
    store.transaction.oncomplete = () => done(asked?.result);
    store.transaction.onerror = store.transaction.onabort = () => failed(store.transaction.error);
  });
}

const write = (words) => run("readwrite", (store) => void words.forEach((word) => store.put(word)));
const erase = (ids) => run("readwrite", (store) => void ids.forEach((id) => store.delete(id)));

/** Every word kept here, in the order of saying. */
export async function words() {
  const found = await run("readonly", (store) => store.getAll());
  return found.sort((one, other) => one.saidAt - other.saidAt);
}

/** Keeps a word that waits to be sent; an unsent one about the same check and position gives way to it. */
export async function say(word) {
  const older = (await words()).filter((each) => each.state !== "stored" && !each.photo && samePlace(each, word));
  await write([{ ...word, id: crypto.randomUUID(), saidAt: Date.now(), state: "waiting", detail: "" }]);
  await erase(older.map((each) => each.id));
  tell();
}

/** Keeps a photo (a Blob in `photo`) that waits to be sent beside those that are there. */
export async function keepPhoto(word) {
  await write([{ ...word, id: crypto.randomUUID(), saidAt: Date.now(), state: "waiting", detail: "" }]);
  tell();
}

/** Whether two words are about the same check and position of the same walk. */
export function samePlace(one, other) {
  return one.walk === other.walk && one.check === other.check && one.position === other.position;
}

/** Lets words that came too late for one walk wait for another one. */
export async function move(late, walk, url) {
  await write(late.map((word) => ({ ...word, id: crypto.randomUUID(), walk, url, state: "waiting", detail: "" })));
  await erase(late.map((word) => word.id));
  tell();
}

/** Forgets what the server has; for when somebody signs out. */
export async function forgetStored() {
  await erase((await words()).filter((word) => word.state === "stored" || word.state === "overtaken").map(({ id }) => id));
}

function tell(connection) {
  document.dispatchEvent(new CustomEvent("fleetcare:words", { detail: connection }));
}

/** Sends what waits; one at a time over all tabs. Tells "idle", "sent", "offline", "sign-in" or "other". */
export async function send() {
  const connection = await (navigator.locks ? navigator.locks.request("fleetcare-send", sendAll) : sendAll());
  tell(connection);
  return connection;
}

async function sendAll() {
  await forgetOld();
  let told = "idle";
  for (;;) {
    const waiting = (await words()).filter((word) => word.state === "waiting");
    if (!waiting.length) return told;
    const session = await whoIsSignedIn();
    if (session === null) return "offline";
    if (session.user === null) return "sign-in";
    const mine = waiting.filter((word) => word.user === session.user);
    if (!mine.length) return "other";
    const said = mine.filter((word) => !word.photo);
    told = said.length
      ? await sendSome(firstOfEachPlace(said.filter((word) => word.url === said[0].url)), session.token)
      : await sendPhoto(mine[0], session.token);
    if (told !== "sent") return told;
  }
}

function firstOfEachPlace(waiting) {
  const first = waiting.filter((word, at) => waiting.findIndex((each) => samePlace(each, word)) === at);
  return first.slice(0, MOST_AT_ONCE);
}

async function whoIsSignedIn() {
  try {
    const answer = await fetch("/session/", { cache: "no-store", credentials: "same-origin" });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

async function sendSome(some, token) {
  const now = Date.now();
  const entries = some.map(({ id, check, position, said, saidAt }) => ({
    id, check, position: position || null, ...said, age_seconds: Math.max(0, (now - saidAt) / 1000),
  }));
  let answer;
  try {
    answer = await fetch(some[0].url, {
      method: "POST",
      credentials: "same-origin",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token },
      body: JSON.stringify({ device: some[0].device, entries }),
    });
  } catch {
    return "offline";
  }
  if (answer.status === 401 || answer.status === 403) return "sign-in";
  if (answer.status >= 500 || answer.status === 429) return "offline";
  await note(some, answer);
  return "sent";
}

async function sendPhoto(word, token) {
  const form = new FormData();
  form.append("check", word.check);
  form.append("position", word.position);
  form.append("photo", word.photo, "photo");
  let answer;
  try {
    answer = await fetch(word.url, { method: "POST", credentials: "same-origin", headers: { "X-CSRFToken": token }, body: form });
  } catch {
    return "offline";
  }
  if (answer.status === 401 || answer.status === 403) return "sign-in";
  if (answer.status >= 500 || answer.status === 429) return "offline";
  if (answer.ok) {
    await erase([word.id]);
  } else {
    const body = await answer.json().catch(() => ({}));
    await settle([word], () => ({ state: "refused", detail: body.detail ?? String(answer.status) }));
  }
  return "sent";
}

async function note(some, answer) {
  const body = await answer.json().catch(() => ({}));
  // The header has whole seconds; a page made within this one may be older than the word.
  const storedAt = (Date.parse(answer.headers.get("Date")) || Date.now()) + 999;
  if (answer.ok) {
    const by = new Map(body.entries.map((entry) => [entry.id, entry]));
    await settle(some, (word) => ({ state: by.get(word.id).state, detail: by.get(word.id).detail, storedAt }));
  } else if (answer.status === 409 || answer.status === 404) {
    await settle(some, () => ({ state: "late", detail: body.detail }));
  } else {
    const faults = (body.errors ?? []).filter((fault) => fault.pointer.startsWith("/entries/"));
    const at = new Map(faults.map((fault) => [Number(fault.pointer.split("/")[2]), fault.detail]));
    await settle(some, (word, index) => {
      if (at.size && !at.has(index)) return {};
      return { state: "refused", detail: at.get(index) ?? body.detail ?? String(answer.status) };
    });
  }
}

async function settle(some, become) {
  const kept = new Set((await words()).map((word) => word.id));
  await write(some.map((word, index) => ({ ...word, ...become(word, index) })).filter((word) => kept.has(word.id)));
}

async function forgetOld() {
  const before = Date.now() - KEPT_DAYS * DAY_MS;
  const old = (await words()).filter((word) => word.state === "stored" && word.saidAt < before);
  if (old.length) await erase(old.map((word) => word.id));
}
