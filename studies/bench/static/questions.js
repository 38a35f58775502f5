// Questions: what they cost, how far they are, what was found.
import { html, useEffect, useRef, useState } from "./preact-htm.js";
import { act, handOver } from "./server.js";

/** @typedef {Record<string, any>} Data */

/**
 * @param {{state: Data, ready: boolean, shown: number, show: (number: number) => void,
 *   doing: (name: string, given?: Data) => void}} given
 */
export function Questions({ state, ready, shown, show, doing }) {
  const [chosen, setChosen] = useState("");
  const question = state.questions.find((/** @type {Data} */ one) => one.name === chosen);
  return html`
    <section class="questions" aria-label="Questions">
      <h2 id="ask">Ask</h2>
      <ul class="list">
        ${state.questions.map((/** @type {Data} */ one) => html`<li>
          <button type="button" aria-expanded=${one.name === chosen ? "true" : "false"}
            aria-describedby=${`about-${one.name}`}
            onClick=${() => setChosen(one.name === chosen ? "" : one.name)}>${one.name}</button>
          <span class="quiet" id=${`about-${one.name}`}>${one.help}</span>
          ${one === question && html`<${Ask} key=${chosen} question=${question}
            measured=${state.measured.filter((/** @type {string} */ name) => name !== state.desk.name)} ready=${ready} version=${state.desk.version}
            close=${() => setChosen("")} />`}</li>`)}
      </ul>
      ${state.unfinished.length > 0 && html`<${Unfinished} found=${state.unfinished} />`}
      ${state.runs.length > 0 && html`<h2>Asked</h2>`}
      ${state.runs.map((/** @type {Data} */ run) => html`<${Run} key=${run.number} run=${run}
        open=${run.number === shown} show=${show} doing=${doing} />`)}
    </section>`;
}

/** @param {{question: Data, measured: string[], ready: boolean, version: number, close: () => void}} given */
function Ask({ question, measured, ready, version, close }) {
  const [options, setOptions] = useState(/** @type {Record<string, string>} */ ({}));
  const [files, setFiles] = useState(/** @type {string[]} */ ([]));
  const [cost, setCost] = useState("");
  const [refused, setRefused] = useState("");
  const given = { name: question.name, options, files };
  useEffect(() => {
    if (!ready) { setCost("The design has mistakes: correct them first."); return undefined; }
    setCost("What will it take? One moment.");
    const later = setTimeout(() => act("cost", given).then(
      (found) => { setCost(found.words); setRefused(""); },
      (error) => { setCost(""); setRefused(question.files && !files.length ? "" : error.message); },
    ), 300);
    return () => clearTimeout(later);
  }, [JSON.stringify(given), version, ready]);
  const send = (/** @type {Event} */ event) => {
    event.preventDefault();
    act("ask", given).then(close, (error) => setRefused(error.message));
  };
  const set = (/** @type {string} */ name, /** @type {string} */ value) =>
    setOptions({ ...options, [name]: value });
  return html`
    <form class="ask" onSubmit=${send}>
      ${question.files && html`<${Files} measured=${measured} files=${files} setFiles=${setFiles} />`}
      ${question.options.map((/** @type {Data} */ one) => html`
        <${Option} key=${one.name} option=${one} value=${options[one.name] ?? ""} set=${set} />`)}
      ${cost && html`<p class="cost">${cost}</p>`}
      ${refused && html`<p class="mistakes" role="alert">${refused}</p>`}
      <p><button type="submit" class="main" disabled=${!ready}>Ask ${question.name}</button></p>
    </form>`;
}

/** @param {{option: Data, value: string, set: (name: string, value: string) => void}} given */
function Option({ option, value, set }) {
  const id = `option-${option.name}`;
  return html`
    <div class="field">
      <label for=${id}>${option.label}</label>
      <span class="value">${option.choices.length ? html`
        <select id=${id} aria-describedby=${`${id}-help`} value=${value}
          onChange=${(/** @type {any} */ event) => set(option.name, event.target.value)}>
          <option value="">usual</option>
          ${option.choices.map((/** @type {string} */ one) => html`<option>${one}</option>`)}
        </select>` : html`
        <input id=${id} type="text" aria-describedby=${`${id}-help`} value=${value}
          placeholder=${option.usual} autocomplete="off"
          onInput=${(/** @type {any} */ event) => set(option.name, event.target.value)} />`}</span>
      <p class="help" id=${`${id}-help`}>${option.help}${option.many ? " Several: semicolons between them." : ""}</p>
    </div>`;
}

/** @param {{measured: string[], files: string[], setFiles: (files: string[]) => void}} given */
function Files({ measured, files, setFiles }) {
  const [refused, setRefused] = useState("");
  const take = async (/** @type {FileList | null | undefined} */ given) => {
    setRefused("");
    const taken = [];
    for (const file of given ?? []) {
      try { await handOver(file); taken.push(file.name); } catch (error) {
        setRefused(/** @type {Error} */ (error).message);
      }
    }
    // An index names its curves; without one, every sheet counts.
    const index = taken.filter((name) => name.endsWith(".toml"));
    const asked = index.length ? index : taken.filter((name) => name.endsWith(".csv"));
    setFiles([...new Set([...files, ...asked])]);
  };
  const drop = (/** @type {DragEvent} */ event) => {
    event.preventDefault();
    take(event.dataTransfer?.files);
  };
  return html`
    <fieldset class="drop" onDragOver=${(/** @type {Event} */ event) => event.preventDefault()} onDrop=${drop}>
      <legend>What was measured</legend>
      <label>Drop files here, or choose them:
        <input type="file" multiple accept=".csv,.txt,.toml"
          onChange=${(/** @type {any} */ event) => take(event.target.files)} /></label>
      ${refused && html`<p class="mistakes" role="alert">${refused}</p>`}
      ${measured.map((name) => html`<label class="tick"><input type="checkbox" checked=${files.includes(name)}
        onChange=${(/** @type {any} */ event) => setFiles(event.target.checked
          ? [...files, name] : files.filter((one) => one !== name))} /> ${name}</label>`)}
    </fieldset>`;
}

/** @param {{found: Data[]}} given */
function Unfinished({ found }) {
  const [refused, setRefused] = useState("");
  return html`<div class="run">
    <p>Begun before, and not finished; what was solved is kept:</p>
    ${found.map((one, number) => html`<p>
      <button type="button" onClick=${() => act("again", { number }).then(
        () => location.reload(), (error) => setRefused(error.message))}>
        Go on: ${one.name} of ${one.design}</button></p>`)}
    ${refused && html`<p class="mistakes" role="alert">${refused}</p>`}
  </div>`;
}

/**
 * The page of an answer.
 * @param {Data} run
 */
function pageOf(run) {
  return ["explore.html", `${run.name}.html`].find((name) => run.files.includes(name));
}

/** The whole report, below all else. @param {{run: Data}} given */
export function Report({ run }) {
  const at = useRef(/** @type {any} */ (null));
  useEffect(() => at.current.scrollIntoView(), []);
  return html`<section class="report" aria-label=${`Report of ${run.name}`} ref=${at}>
    <iframe title=${`Report of ${run.name}`} src=${`answers/${run.number}/${pageOf(run)}`} /></section>`;
}

/**
 * @param {{run: Data, open: boolean, show: (number: number) => void,
 *   doing: (name: string, given?: Data) => void}} given
 */
function Run({ run, open, show, doing }) {
  const first = pageOf(run), at = useRef(/** @type {any} */ (null));
  useEffect(() => { if (run.state === "waiting") at.current.scrollIntoView({ block: "nearest" }); }, []);
  return html`
    <article ref=${at} class=${`run ${run.state}`} aria-label=${`${run.name}, ${run.state}`}>
      <h3>${run.name} ${run.asked} <span class="quiet">${run.design}, ${run.title}</span></h3>
      ${(run.state === "running" || run.state === "waiting") && html`<${Progress} run=${run} />`}
      ${run.message && html`<p class=${run.state === "failed" ? "mistakes" : "quiet"}>${run.message}</p>`}
      ${run.answer.slice(0, open ? undefined : 3).map((/** @type {string} */ sentence) => html`<p>${sentence}</p>`)}
      ${run.state === "done" && html`
        <p class="buttons">
          <button type="button" aria-expanded=${open ? "true" : "false"} onClick=${() => show(open ? 0 : run.number)}>
            ${open ? "Hide the report" : "Show the report"}</button>
          ${run.chooses && html`<button type="button"
            onClick=${() => doing("adopt", { number: run.number })}>Put it into the design</button>`}
          ${run.files.filter((/** @type {string} */ name) => name.endsWith(".toml"))
            .map((/** @type {string} */ name) => html`<button type="button"
              onClick=${() => lay(run, name, doing)}>Open ${name}</button>`)}
          ${first && html`<a href=${`answers/${run.number}/${first}`} target="_blank" rel="noopener">Report in a tab of its own</a>`}
          ${run.files.filter((/** @type {string} */ name) => name.endsWith(".pdf") || name === "listen.html")
            .map((/** @type {string} */ name) => html`<${Link} run=${run} name=${name} said />`)}
          <a href=${`answers/${run.number}`} download>All files (zip)</a>
          <button type="button" onClick=${() => act("forget", { number: run.number }).then(() => location.reload())}>Off the list</button>
        </p>
        <details><summary>${run.files.length} files in ${run.folder}</summary>
          <ul class="files">${run.files.map((/** @type {string} */ name) => html`<li><${Link} run=${run} name=${name} /></li>`)}</ul>
        </details>`}
    </article>`;
}

/**
 * Lay a design that an answer has written on the bench.
 * @param {Data} run
 * @param {string} name
 * @param {(name: string, given?: Data) => void} doing
 */
async function lay(run, name, doing) {
  doing("text", { text: await (await fetch(addressOf(run, name))).text(), name });
}

/** @param {Data} run @param {string} name */
function addressOf(run, name) { return `answers/${run.number}/${encodeURIComponent(name)}`; }

/** @param {{run: Data, name: string, said?: boolean}} given whether what it is for is said */
function Link({ run, name, said }) {
  const page = name.endsWith(".html"), at = addressOf(run, name);
  const words = said ? `${page ? "Hear them" : "To print"}: ${name}` : name;
  return page ? html`<a href=${at} target="_blank" rel="noopener">${words}</a>`
    : html`<a href=${at} download>${words}</a>`;
}

/** @param {{run: Data}} given */
function Progress({ run }) {
  const stop = () => act("cancel", { number: run.number });
  const time = run.left_s === null ? "" : inTime(run.left_s);
  const left = !time ? "" : run.late ? `, slower than reckoned, at least ${time} left`
    : `, about ${time} left in all`;
  return html`<p class="progress">
    <progress aria-label=${`Progress of ${run.name}`} max="1" value=${run.share ?? undefined} />
    <span>${run.state === "waiting" ? "waiting for its turn" : run.stage || "starting"}${left}
    ${run.so_far ? html`<br />${run.so_far}` : ""}</span>
    <button type="button" onClick=${stop}>Stop</button></p>`;
}

/** @param {number} seconds */
function inTime(seconds) {
  return seconds < 90 ? `${seconds} s` : `${Math.round(seconds / 60)} min`;
}
