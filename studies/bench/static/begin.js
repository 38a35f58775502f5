// How a design begins: with three sizes, or a file.
import { html, useState } from "./preact-htm.js";

/** @typedef {Record<string, any>} Data */

/** @param {{designs: string[], doing: (name: string, given?: Data) => void}} given */
export function Open({ designs, doing }) {
  const upload = async (/** @type {any} */ event) => {
    const [file] = event.target.files;
    if (file) doing("text", { text: await file.text(), name: file.name });
    event.target.value = "";
  };
  return html`
    <label class="unseen" for="open">Open a design of the folder</label>
    <select id="open" value="" onChange=${(/** @type {any} */ event) => {
      if (event.target.value) doing("open", { name: event.target.value });
      event.target.value = "";
    }}>
      <option value="">Open ...</option>
      ${designs.map((name) => html`<option>${name}</option>`)}
    </select>
    <label class="file button">Open from elsewhere ...
      <input class="unseen" type="file" accept=".toml" onChange=${upload} /></label>`;
}

/** @param {{designs: string[], doing: (name: string, given?: Data) => void}} given */
export function Begin({ designs, doing }) {
  const [sizes, setSizes] = useState(/** @type {Record<string, any>} */ ({ unit: "in" }));
  const set = (/** @type {string} */ name, /** @type {any} */ value) => setSizes({ ...sizes, [name]: value });
  const field = (/** @type {string} */ name, /** @type {string} */ label, /** @type {string} */ help) => html`
    <div class="field">
      <label for=${`begin-${name}`}>${label}</label>
      <span class="value"><input id=${`begin-${name}`} type="text" value=${sizes[name] ?? ""}
        aria-describedby=${`begin-${name}-help`} autocomplete="off"
        onInput=${(/** @type {any} */ event) => set(name, event.target.value)} /></span>
      <p class="help always" id=${`begin-${name}-help`}>${help}</p>
    </div>`;
  return html`
    <main class="plain">
      <h2>Begin with three sizes</h2>
      <${Sketch} />
      <form onSubmit=${(/** @type {Event} */ event) => { event.preventDefault(); doing("draft", sizes); }}>
        ${field("driver", "driver", "Its nominal diameter, as sold: 7, or 7 in, or 180 mm.")}
        ${field("ball", "ball", "Diameter of the ball to cut.")}
        ${field("gap", "gap", "From the baffle to the underside of the top plate: 3 1/2.")}
        <div class="field">
          <label for="begin-unit">unit</label>
          <span class="value"><select id="begin-unit" value=${sizes.unit}
            onChange=${(/** @type {any} */ event) => set("unit", event.target.value)}>
            <option value="in">inches</option><option value="mm">millimetres</option>
            <option value="cm">centimetres</option></select></span>
        </div>
        <details><summary>More, if you know it</summary>
          ${field("column", "column", "Outside width; left out, fits the driver.")}
          ${field("height", "height", "From the floor to the baffle.")}
          ${field("baffle", "baffle", "Diameter of a round baffle; left out, as the column.")}
          <label class="tick"><input type="checkbox" checked=${sizes.coaxial ?? false}
            onChange=${(/** @type {any} */ event) => set("coaxial", event.target.checked)} />
            a tweeter stands in the middle of the cone</label>
        </details>
        <p><button type="submit" class="main">Draft a design</button></p>
        <p class="quiet">Every other size is guessed, and marked as a guess: measure, and put it right.</p>
      </form>
      <h2>Or open one</h2>
      <div class="buttons"><${Open} designs=${designs} doing=${doing} /></div>
    </main>`;
}

/** What the three sizes are; no design's, and not to scale. */
function Sketch() {
  const size = (/** @type {string} */ d, /** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ name) => html`
    <g class="dimension ink" font-size="11"><path d=${d} />
      <text x=${x} y=${y} text-anchor="middle">${name}</text></g>`;
  return html`
    <svg class="drawn sketch" viewBox="-125 -122 250 200" role="img"
      aria-label="A driver faces up out of a column; a piece of a ball hangs over it under a plate.
        Driver and ball are measured across, the gap from the column's top to the plate.">
      <path class="wood" d="M-62 26H62V76H-62Z" />
      <path class="rod" d="M-60 -48H-56V34H-60ZM56 -48H60V34H56Z" />
      <path class="foam" d="M-46 -46A46 46 0 0 0 46 -46Z" />
      <path class="rest" d="M-46 -46A46 46 0 0 1 46 -46" />
      <path class="plate" d="M-66 -54H66V-46H-66Z" />
      <path class="metal" d="M-42 22H-34V26H-42ZM34 22H42V26H34Z" />
      <path class="moving" d="M-34 25L-10 42Q0 33 10 42L34 25" />
      ${size("M-46 -102H46M-46 -106V-98M46 -106V-98", 0, -108, "ball")}
      ${size("M-42 56H42M-42 52V60M42 52V60", 0, 70, "driver")}
      ${size("M84 -46V26M80 -46H88M80 26H88", 104, -7, "gap")}
    </svg>`;
}
