// The section through the axis, drawn to scale from outlines in millimetres.
import { html } from "./preact-htm.js";

/** @typedef {Record<string, any>} Data */

const BESIDE = 80, BELOW = 8;  // mm-like units of the drawing kept free for words

/** @param {{xs: number[], zs: number[], lift?: number}} outline */
function path({ xs, zs, lift = 0 }) {
  return xs.map((x, n) => `${n ? "L" : "M"}${x} ${-(zs[n] + lift)}`).join("");
}

/** @param {{outline: Data, lift?: number, kind: string}} given */
function Solid({ outline, lift, kind }) {
  return html`<path class=${kind} d=${`${path({ xs: outline.x, zs: outline.z, lift })}Z`} />`;
}

/** A line with a gap in the middle: both sides of the axis. @param {Data} line @param {number} lift */
function bothSides(line, lift) {
  const middle = line.x.indexOf(null);
  const part = (/** @type {number} */ from, /** @type {number} */ to) =>
    path({ xs: line.x.slice(from, to), zs: line.z.slice(from, to), lift });
  return part(0, middle) + part(middle + 1, line.x.length);
}

/** @param {{x: number, y: number, width: number, height: number, kind: string}} given */
function Block({ x, y, width, height, kind }) {
  return html`<rect class=${kind} x=${x} y=${y} width=${width} height=${height} />`;
}

/**
 * A dimension line from one height to another, its words beside it.
 * @param {{x: number, low: number, high: number, name: string, words: string, kind: string,
 *   left?: boolean, size: number}} given
 */
function Dimension({ x, low, high, name, words, kind, left, size }) {
  const tick = 0.4 * size, at = left ? x - 0.5 * size : x + 0.5 * size;
  const middle = -(low + high) / 2, anchor = left ? "end" : "start";
  const [metric, inches] = words.split(" (");
  return html`<g class=${`dimension ${kind}`} font-size=${size}>
    <path d=${`M${x} ${-low}V${-high}M${x - tick} ${-low}h${2 * tick}M${x - tick} ${-high}h${2 * tick}`} />
    <text x=${at} y=${middle - 0.7 * size} text-anchor=${anchor}>${name}</text>
    <text x=${at} y=${middle + 0.45 * size} text-anchor=${anchor}>${metric}</text>
    ${inches && html`<text x=${at} y=${middle + 1.6 * size} text-anchor=${anchor}>(${inches}</text>`}
  </g>`;
}

/** @param {{drawn: Data}} given */
export function Section({ drawn }) {
  const { half, foot, gap, gaps } = drawn;
  const top = Math.max(drawn.top, drawn.frame[2]) + BELOW;
  const reach = half * 1.06 + Math.max(BESIDE, 0.75 * half), size = reach / 19;
  const box = `${-reach} ${-top} ${2 * reach} ${top - foot + 3.2 * size}`;
  return html`
    <svg class="drawn section" viewBox=${box} role="img"
      aria-label="Section through the axis, to scale; the sizes stand in the table below">
      ${drawn.ears.map((/** @type {Data} */ ear) => html`<${Ear} ear=${ear} reach=${reach} top=${top}
        foot=${foot} />`)}
      <${Solid} outline=${drawn.lower} kind="wood" />
      <${Frame} frame=${drawn.frame} />
      ${drawn.felts.map((/** @type {Data} */ felt) => html`<${Felt} felt=${felt} />`)}
      ${drawn.posts && gap !== null && html`<${Posts} posts=${drawn.posts} gap=${gap} />`}
      ${drawn.reflector && html`<${Solid} outline=${drawn.reflector} lift=${gap} kind="foam" />`}
      ${drawn.plate && html`<${Solid} outline=${drawn.plate} lift=${gap} kind="plate" />`}
      ${drawn.moving.map((/** @type {Data} */ line) => html`
        <path class="moving" d=${bothSides(line, 0)} />
        ${drawn.travel > 0 && html`<path class="travel" d=${bothSides(line, drawn.travel)} />`}`)}
      <path class="axis" d=${`M0 ${-top}V${-foot}`} />
      ${gap !== null && html`<${Dimension} x=${half * 1.06} low=${0} high=${gap} name="plate gap"
        words=${drawn.gap_words} kind="ink" size=${size} />`}
      ${gaps.drawn && html`
        <${Dimension} x=${-half * 1.06} low=${0} high=${gaps.rim.z} name="rim gap"
          words=${gaps.rim.words} kind="rim" size=${size} left />
        <path class="dimension tip" d=${`M${gaps.tip.x} ${-gaps.tip.foot}V${-gaps.tip.z}`} />
        <text class="dimension tip" font-size=${size} x="0" y=${-foot + 1.9 * size}
          text-anchor="middle">${gaps.tip.name} ${gaps.tip.words}</text>`}
    </svg>`;
}

/** @param {{frame: number[]}} given */
function Frame({ frame }) {
  const [inner, outer, proud] = frame;
  if (proud <= 0) return null;
  return html`${[inner, -outer].map((x) => html`
    <${Block} x=${x} y=${-proud} width=${outer - inner} height=${proud} kind="metal" />`)}`;
}

/** @param {{felt: Data}} given */
function Felt({ felt }) {
  const { inner, outer, low, high } = felt;
  return html`${[inner, -outer].map((x) => html`
    <${Block} x=${x} y=${-high} width=${outer - inner} height=${high - low} kind="felt" />`)}`;
}

/** @param {{posts: Data, gap: number}} given */
function Posts({ posts, gap }) {
  const { x, half, below, above } = posts;
  return html`${[-x, x].map((middle) => html`<${Block} x=${middle - half} y=${-gap - above}
    width=${2 * half} height=${gap + above + below} kind="rod" />`)}`;
}

/** A line from the middle of the ring towards the ears. @param {Data} given */
function Ear({ ear, reach, top, foot }) {
  const slope = Math.tan(ear.elevation * Math.PI / 180);
  let x = reach, z = ear.z + reach * slope;
  if (z > top) { x = (top - ear.z) / slope; z = top; }
  if (z < foot) { x = (foot - ear.z) / slope; z = foot; }
  return html`<path class="ear" d=${`M0 ${-ear.z}L${x} ${-z}`} />`;
}
