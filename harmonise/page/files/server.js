// Questions to the program on this computer. In every lane only the newest answer
// counts; a busy program is asked again; a lost one is waited for.

const token = tokenOf();
const lanes = new Map();
const WAIT_WHEN_LOST = 1500; // milliseconds between two knocks
const MOST_TRIES = 8;
const STOPPED =
  "The program has stopped. Your tune is kept in this browser. Start it again; this page goes on by itself.";
const STRANGER =
  "This page does not know the program's token. Open the whole address that the program printed when it was started; what you made is kept in this browser.";

let lost = false;
let onLost = () => {};
let onBack = () => {};

/**
 * The token of the address, which goes into this browser's storage and out of sight; a
 * bookmark without it finds it there.
 */
function tokenOf() {
  const name = "harmonise.token";
  const from = new URLSearchParams(location.hash.slice(1) || location.search);
  const given = from.get("token");
  try {
    if (given) localStorage.setItem(name, given);
    const kept = localStorage.getItem(name) ?? "";
    history.replaceState(null, "", "/");
    return kept;
  } catch {
    return given ?? ""; // stays in the address, where a reload finds it again
  }
}

/** Tell what to do when the program stops answering, and when it answers again. */
export function watchServer(whenLost, whenBack) {
  onLost = whenLost;
  onBack = whenBack;
}

// A whole address that is opened in this very tab changes what stands behind # alone.
addEventListener("hashchange", () => location.hash && location.reload());

const pause = (wait) => new Promise((done) => setTimeout(done, wait));

/**
 * Ask; return {answer}, {error} in whole sentences, or null when a newer question
 * took this one's place or the program is lost.
 */
export async function ask(path, body, lane = path) {
  lanes.get(lane)?.abort();
  const mine = new AbortController();
  lanes.set(lane, mine);
  for (let tries = 1; ; tries += 1) {
    const response = await send(path, body, mine.signal);
    if (!response || mine.signal.aborted) return null;
    if (response.status === 403) {
      lose(STRANGER);
      return null;
    }
    if (response.status !== 429 || tries === MOST_TRIES) return open(response, mine.signal);
    await pause(1000 * (Number(response.headers.get("Retry-After")) || 1));
    if (mine.signal.aborted) return null;
  }
}

async function send(path, body, signal) {
  try {
    return await fetch(path, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Token": token },
      body: JSON.stringify(body),
      signal,
      cache: "no-store",
    });
  } catch {
    if (!signal?.aborted) lose();
    return null;
  }
}

async function open(response, signal) {
  try {
    if (!response.ok) return { error: await sentence(response) };
    const type = response.headers.get("Content-Type") ?? "";
    if (type.startsWith("application/json")) return { answer: await response.json() };
    return { answer: { blob: await response.blob(), name: nameOf(response) } };
  } catch {
    if (!signal.aborted) lose();
    return null;
  }
}

async function sentence(response) {
  const usual = { sentence: "The program could not do this. Try once more.", line: null };
  try {
    return { ...usual, ...(await response.json()).error, status: response.status };
  } catch {
    return { ...usual, status: response.status };
  }
}

function nameOf(response) {
  const told = response.headers.get("Content-Disposition") ?? "";
  const coded = /filename\*=UTF-8''([^;]+)/i.exec(told);
  if (coded) return decodeURIComponent(coded[1]);
  return /filename="?([^";]+)"?/i.exec(told)?.[1] ?? "harmonise";
}

async function lose(sentence = STOPPED) {
  if (lost) return;
  lost = true;
  onLost(sentence);
  for (;;) {
    await pause(WAIT_WHEN_LOST);
    const response = await knock();
    if (response?.status === 403) onLost(STRANGER);
    else if (response) {
      lost = false;
      onBack();
      return;
    }
  }
}

async function knock() {
  try {
    return await fetch("/offers", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Token": token },
      body: "{}",
    });
  } catch {
    return null;
  }
}
