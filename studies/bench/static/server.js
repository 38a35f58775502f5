// What the page says to the bench's server, and hears from it.

/** @typedef {Record<string, any>} Data */

/** A refusal in the server's words. */
export class Refused extends Error {}

/**
 * Ask the server to do something.
 * @param {string} name
 * @param {Data} [given]
 * @returns {Promise<Data>}
 */
export async function act(name, given = {}) {
  return understood(await sent(`do/${name}`, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(given),
  }));
}

let latest = 0;  // number of the latest message that was heard

/**
 * Everything that the page shows; read again if something newer was heard meanwhile.
 * @returns {Promise<Data>}
 */
export async function wholeState() {
  for (;;) {
    const state = await understood(await fetch("state"));
    if (state.told >= latest) return state;
  }
}

/**
 * Hand over a file that was dropped on the page.
 * @param {File} file
 */
export async function handOver(file) {
  return understood(await sent(`files/${encodeURIComponent(file.name)}`, { method: "PUT", body: file }));
}

/**
 * @param {string} address
 * @param {RequestInit} given
 */
async function sent(address, given) {
  try { return await fetch(address, given); } catch {
    throw new Refused("The bench did not answer, so this was not done: do it again once it is there.");
  }
}

/**
 * @param {Response} answer
 * @returns {Promise<Data>}
 */
async function understood(answer) {
  if (answer.ok) return answer.json();
  const text = await answer.text();
  let words = text || `the bench answers ${answer.status}`;
  try { words = JSON.parse(text).refused ?? words; } catch { /* plain words */ }
  throw new Refused(words);
}

/**
 * Hear what happens; the browser connects again by itself.
 * @param {Record<string, (data: any) => void>} handlers by the kind of message
 * @param {(there: boolean) => void} connected
 */
export function hear(handlers, connected) {
  const events = new EventSource("events");
  for (const [kind, handle] of Object.entries(handlers)) {
    events.addEventListener(kind, (event) => {
      latest = Number(event.lastEventId);
      handle(JSON.parse(event.data));
    });
  }
  events.onopen = () => { latest = 0; connected(true); };
  events.onerror = () => connected(false);
  return events;
}
