// The bench: design at the left, section in the middle, answer at the right, questions below.
import { html, render, useEffect, useRef, useState } from "./preact-htm.js";
import { Begin, Open } from "./begin.js";
import { CoverageMap, Curves, Terms } from "./charts.js";
import { Form, Mistakes } from "./form.js";
import { Questions, Report } from "./questions.js";
import { Section } from "./section.js";
import { listeningPanel } from "./listening.js";
import { act, hear, wholeState } from "./server.js";

/** @typedef {Record<string, any>} Data */

function Bench() {
  const [state, setState] = useState(/** @type {Data | null} */ (null));
  const [there, setThere] = useState(true);
  const [ended, setEnded] = useState(false);
  const [refused, setRefused] = useState("");
  const change = (/** @type {(old: Data) => Data} */ of) =>
    setState((/** @type {Data | null} */ old) => (old ? of(old) : old));
  const newDesk = (/** @type {Data} */ desk) => change((old) =>
    (desk.version < old.desk.version ? old : { ...old, desk }));
  useEffect(() => {
    const events = hear({
      desk: newDesk,
      live: (live) => change((old) => ({ ...old, live })),
      pinned: (pinned) => change((old) => ({ ...old, pinned })),
      run: (run) => change((old) => ({ ...old, runs: withRun(old.runs, run) })),
      files: (files) => change((old) => ({ ...old, ...files })),
      end: () => { setEnded(true); events.close(); },
    }, (on) => {
      setThere(on);
      if (on) wholeState().then(setState, (error) => setRefused(error.message));
    });
    return () => events.close();
  }, []);
  const queue = useRef(Promise.resolve());
  const edit = (/** @type {string} */ key, /** @type {string} */ action, value = "") => {
    const done = queue.current.then(() => act("edit", { key, action, value }).then(
      (desk) => { newDesk(desk); return ""; }, (error) => error.message));
    queue.current = done.then(() => undefined);
    return done;
  };
  const doing = (/** @type {string} */ name, given = {}) => act(name, given).then(
    (desk) => { setRefused(""); if (desk.version !== undefined) newDesk(desk); },
    (error) => setRefused(error.message));
  if (ended) return html`<main class="plain"><h1>The bench has ended.</h1>
    <p>Designs and answers lie in the folder. This page can be closed.</p></main>`;
  if (!state) return html`<main class="plain"><p>${refused || "One moment."}</p></main>`;
  return html`
    ${!there && html`<p class="away" role="alert">The bench does not answer: was it ended? The page
      goes on as soon as it is there again.</p>`}
    <${Top} desk=${state.desk} designs=${state.designs} doing=${doing} />
    ${refused && html`<p class="mistakes wide" role="alert">${refused}</p>`}
    ${state.desk.begun
      ? html`<${Work} state=${state} edit=${edit} doing=${doing} />`
      : html`<${Begin} designs=${state.designs} doing=${doing} />`}`;
}

/** @param {Data[]} runs @param {Data} run */
function withRun(runs, run) {
  const known = runs.some((one) => one.number === run.number);
  return known ? runs.map((one) => (one.number === run.number ? run : one)) : [run, ...runs];
}

/** @param {{desk: Data, designs: string[], doing: (name: string, given?: Data) => void}} given */
function Top({ desk, designs, doing }) {
  const [name, setName] = useState("");
  const [text, setText] = useState(/** @type {string | null} */ (null));
  const save = (/** @type {Event} */ event) => {
    event.preventDefault();
    doing("save", { name: name || desk.name });
    setName("");
  };
  useEffect(() => {
    const keys = (/** @type {KeyboardEvent} */ event) => {
      const typing = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
      if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
      event.preventDefault();
      doing("step", { way: event.shiftKey ? "forth" : "back" });
    };
    addEventListener("keydown", keys);
    return () => removeEventListener("keydown", keys);
  }, []);
  return html`
    <header>
      <h1>roundcast bench ${desk.begun && html`<span class="quiet">${desk.name}${desk.saved ? "" : ", not saved"}</span>`}</h1>
      <div class="buttons">
        ${desk.begun && html`
          <button type="button" disabled=${!desk.undo} onClick=${() => doing("step", { way: "back" })}>Undo</button>
          <button type="button" disabled=${!desk.redo} onClick=${() => doing("step", { way: "forth" })}>Redo</button>
          <form class="inline" onSubmit=${save}>
            <label class="unseen" for="save-as">Name of the file</label>
            <input id="save-as" type="text" value=${name} placeholder=${desk.name}
              onInput=${(/** @type {any} */ event) => setName(event.target.value)} />
            <button type="submit">Save</button>
          </form>
          <a href="design" download>Download the design</a>
          <button type="button" aria-expanded=${text === null ? "false" : "true"}
            onClick=${() => setText(text === null ? desk.text : null)}>Text of the file</button>
          <${Open} designs=${designs} doing=${doing} />`}
        <button type="button" onClick=${() => doing("end")}>End</button>
      </div>
      ${desk.begun && html`<nav aria-label="On this page"><a href="#section">Section</a>
        <a href="#answer">Answer</a> <a href="#ask">Questions</a></nav>`}
    </header>
    ${text !== null && html`
      <section class="text" aria-label="Text of the file">
        <label for="text">The whole file; remarks stay when a field is changed.</label>
        <textarea id="text" rows="18" spellcheck=${false} value=${text}
          onInput=${(/** @type {any} */ event) => setText(event.target.value)} />
        <p><button type="button" class="main" onClick=${() => { doing("text", { text }); setText(null); }}>Take this text</button></p>
      </section>`}`;
}

/** @param {{state: Data, edit: any, doing: (name: string, given?: Data) => void}} given */
function Work({ state, edit, doing }) {
  const { desk, live, pinned } = state;
  const [shown, setShown] = useState(0);
  const run = state.runs.find((/** @type {Data} */ one) => one.number === shown);
  return html`
    <main><div class="work">
      <${Form} groups=${desk.groups} mistakes=${desk.mistakes} edit=${edit} />
      <section class="middle" aria-label="Section">
        <h2 id="section">${desk.title || "Section"}</h2>
        <${Mistakes} found=${desk.mistakes} named />
        ${desk.section ? html`<${Section} drawn=${desk.section} />`
          : html`<p class="quiet">No section can be drawn of these sizes.</p>`}
        ${desk.words.map((/** @type {string} */ sentence) => html`<p>${sentence}</p>`)}
        ${desk.section && html`<${Clearances} rows=${desk.section.clearances} />`}
      </section>
      <${Answer} desk=${desk} live=${live} pinned=${pinned?.curves ? pinned : null} />
      <${Questions} state=${state} ready=${desk.mistakes.length === 0} shown=${shown} show=${setShown}
        doing=${doing} />
      </div>
      ${run && html`<${Report} key=${shown} run=${run} />`}
    </main>`;
}

/** @param {{rows: string[][]}} given */
function Clearances({ rows }) {
  return html`<details><summary>All clearances</summary>
    <table><caption>Clearances</caption><tbody>
      ${rows.map(([name, words, note]) => html`<tr><th scope="row">${name}</th><td>${words}</td>
        <td class="quiet">${note}</td></tr>`)}</tbody></table></details>`;
}

/** @param {{desk: Data, live: Data, pinned: Data | null}} given */
function Answer({ desk, live, pinned }) {
  const [seat, setSeat] = useState(0);
  const [level, setLevel] = useState("absolute");
  const current = live.version === desk.version;
  const waited = useWait(current || desk.mistakes.length > 0 ? -1 : desk.version);
  const status = !current ? (desk.mistakes.length ? "The design has mistakes: nothing is solved." : solving(waited))
    : live.refused ? `Cannot be solved: ${live.refused}`
      : `${live.last ? "Settled" : "Sharpening"}: ${live.stage} (${live.seconds.toFixed(1)} s)`;
  const shown = live.curves ? live : null;
  const at = shown ? Math.min(seat, shown.names.length - 1) : 0;
  return html`
    <section class="answer" aria-label="Answer" data-version=${current && shown ? live.version : ""}
      data-settled=${current && live.last ? "yes" : "no"}>
      <h2 id="answer">Where the sound goes</h2>
      <p class="status" role="status">${status}</p>
      ${shown && html`
        <div class=${current ? "" : "old"}>
          <p class="buttons">
            <label for="seat">Curve at</label>
            <select id="seat" value=${String(at)} onChange=${(/** @type {any} */ event) => setSeat(Number(event.target.value))}>
              ${shown.names.map((/** @type {string} */ name, /** @type {number} */ n) => html`
                <option value=${String(n)} selected=${n === at}>${n ? name : "the window"}</option>`)}
            </select>
            <button type="button" aria-pressed=${pinned ? "true" : "false"}
              onClick=${() => act("pin", { on: !pinned })}>${pinned ? "Unpin" : "Pin this design"}</button>
          </p>
          ${pinned && live.difference && html`<p><strong>${live.difference}</strong></p>`}
          <${Curves} live=${shown} pinned=${pinned} seat=${at} />
          <${Terms} live=${shown} pinned=${pinned} />
          <p class="buttons">
            ${["absolute", "normalised"].map((one) => html`<label class="tick">
              <input type="radio" name="level" checked=${level === one} onChange=${() => setLevel(one)} />
              ${one === "absolute" ? "level" : "level less that of the window"}</label>`)}
          </p>
          <${CoverageMap} live=${shown} level=${level} />
          <${Beside} settled=${current && live.last} version=${desk.version} pinned=${pinned !== null} />
          <p class="quiet">0 dB: the driver's own on-axis curve in an endless wall. Dashed: edges of the window.</p>
        </div>`}
    </section>`;
}

/** How long an answer has been waited for, in whole tens of seconds. @param {number} version -1 if none is */
function useWait(version) {
  const [waited, setWaited] = useState(0);
  useEffect(() => {
    setWaited(0);
    if (version < 0) return undefined;
    const clock = setInterval(() => setWaited((/** @type {number} */ s) => s + 10), 10000);
    return () => clearInterval(clock);
  }, [version]);
  return waited;
}

/** @param {number} waited seconds */
function solving(waited) {
  return waited ? `Solving, for ${waited} s so far: this machine is busy, or the design is large. It goes on by itself.`
    : "Solving ...";
}

/**
 * What can be had of a settled answer: filters, and a listen.
 * @param {{settled: boolean, version: number, pinned: boolean}} given
 */
function Beside({ settled, version, pinned }) {
  const [voicing, setVoicing] = useState(/** @type {Data | null} */ (null));
  const [heard, setHeard] = useState(/** @type {Data | null} */ (null));
  const [refused, setRefused] = useState("");
  const place = useRef(/** @type {any} */ (null));
  const ask = (/** @type {string} */ name, /** @type {(found: Data) => void} */ take) =>
    act(name).then((found) => { setRefused(""); take(found); }, (error) => setRefused(error.message));
  useEffect(() => { setVoicing(null); setHeard(null); }, [version, pinned]);
  useEffect(() => { if (heard && place.current) listeningPanel(place.current, heard); }, [heard]);
  return html`
    <p class="buttons">
      <button type="button" disabled=${!settled} onClick=${() => ask("listen", setHeard)}>Hear it</button>
      <button type="button" disabled=${!settled} onClick=${() => ask("voicing", setVoicing)}>Filters that help</button>
    </p>
    ${refused && html`<p class="mistakes" role="alert">${refused}</p>`}
    ${voicing && html`
      <table><caption>Filters (second order, at 48 kHz)</caption>
        <thead><tr><th scope="col">filter</th><th scope="col">frequency</th><th scope="col">gain</th><th scope="col">Q</th></tr></thead>
        <tbody>${voicing.filters.map((/** @type {Data} */ one) => html`<tr>
          <th scope="row">${one.type.replace("shelf", " shelf")}</th><td>${one.frequency} Hz</td>
          <td>${one.gain > 0 ? "+" : ""}${one.gain.toFixed(1)} dB</td>
          <td>${one.type === "peaking" ? one.q.toFixed(2) : ""}</td></tr>`)}</tbody></table>
      ${voicing.words.map((/** @type {string} */ sentence) => html`<p>${sentence}</p>`)}`}
    ${heard && html`<div class="listen" ref=${place} />
      ${!pinned && html`<p class="quiet">Pin a design and change it: then both can be heard against each other.</p>`}`}`;
}

const place = /** @type {Element} */ (document.getElementById("bench"));
place.replaceChildren();
render(html`<${Bench} />`, place);
