// The live answer: curves, coverage map, terms of the score. Plotly draws, as in the explorer.
import { html, useEffect, useRef } from "./preact-htm.js";

/** @typedef {Record<string, any>} Data */

const INK = "#243039", QUIET = "#5f6f7a", FAINT = "#d5dbdf";
const LINES = ["#c2410c", "#0072b2", "#009e73", "#b0578d", "#a06b00", "#3f9fd8", "#000000"];
const CONFIG = { displayModeBar: false, responsive: true };

/** @param {string} title @param {Data} more */
function axis(title, more) {
  return {
    title: { text: title, standoff: 4 }, color: INK, linecolor: QUIET, gridcolor: FAINT,
    ticks: "outside", ticklen: 3, zeroline: false, fixedrange: true, automargin: true, ...more,
  };
}

/** @param {Data} frequency */
function frequencyAxis(frequency) {
  const { edges, ticks, names } = frequency;
  return axis("frequency, Hz", {
    type: "log", range: [Math.log10(edges[0]), Math.log10(edges[edges.length - 1])],
    tickvals: ticks, ticktext: names,
  });
}

/** @param {Data} more */
function layout(more) {
  return {
    font: { family: getComputedStyle(document.body).fontFamily, size: 11, color: INK },
    margin: { l: 8, r: 8, t: 6, b: 8 }, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "#fff",
    showlegend: false, dragmode: false, ...more,
  };
}

/** @param {{traces: Data[], look: Data, label: string, tall?: boolean}} given */
function Chart({ traces, look, label, tall }) {
  const at = useRef(/** @type {any} */ (null));
  useEffect(() => { window.Plotly?.react(at.current, traces, look, CONFIG); });
  return html`<div ref=${at} class=${tall ? "chart tall" : "chart"} role="img" aria-label=${label} />`;
}

/** @param {Data} answer @param {number} which @param {string} name @param {Data} line */
function curve(answer, which, name, line) {
  return {
    type: "scatter", mode: answer.frequencies.length < 40 ? "lines+markers" : "lines", name, line,
    marker: { size: 4 }, x: answer.frequencies, y: answer.curves[which],
    hovertemplate: "%{x:.0f} Hz: %{y:.1f} dB<extra>%{fullData.name}</extra>",
  };
}

/** @param {{live: Data, pinned: Data | null, seat: number}} given */
export function Curves({ live, pinned, seat }) {
  const traces = [];
  if (pinned) {
    traces.push(curve(pinned, Math.min(seat, pinned.curves.length - 1), "pinned",
      { color: QUIET, width: 1.4, dash: "dot" }));
  }
  if (seat) traces.push(curve(live, 0, "window", { color: LINES[0], width: 1.5, dash: "dash" }));
  traces.push(curve(live, seat, live.names[seat], { color: LINES[seat ? 1 : 0], width: 2 }));
  return html`<${Chart} label=${`Level by frequency: ${live.names[seat]}`} traces=${traces} look=${layout({
    xaxis: frequencyAxis(live.frequency),
    yaxis: axis("level, dB", { range: live.levels, dtick: 10 }), showlegend: true,
    legend: { orientation: "h", x: 0, y: 1.01, yanchor: "bottom", font: { size: 10 } },
  })} />`;
}

/** @param {{live: Data, level: string}} given */
export function CoverageMap({ live, level }) {
  const look = live[level];
  const rows = level === "absolute" ? live.map
    : live.map.map((/** @type {number[]} */ row) => row.map((value, band) => value - live.own[band]));
  const line = (/** @type {number} */ y, /** @type {Data} */ line) =>
    ({ type: "line", xref: "paper", x0: 0, x1: 1, y0: y, y1: y, line });
  const traces = [{
    type: "heatmap", x: live.frequency.edges, y: live.elevations, z: rows, zsmooth: false,
    zmin: look.low, zmax: look.high, colorscale: look.colours,
    text: live.elevations.map(() => live.frequency.bands),
    hovertemplate: "%{text}, %{y} deg: %{z:.1f} dB<extra></extra>",
    colorbar: { thickness: 9, outlinewidth: 0, title: { text: "dB" }, tick0: look.low, dtick: 2 * live.step },
  }];
  return html`<${Chart} label="Level by elevation and third octave" tall traces=${traces} look=${layout({
    xaxis: frequencyAxis(live.frequency),
    yaxis: axis("elevation, degrees", {
      range: [-90.5, 90.5], tickvals: [-90, -60, -30, 0, 30, 60, 90], showgrid: false,
    }),
    shapes: live.window.flatMap((/** @type {number} */ y) => [
      line(y, { color: "#fff", width: 2.5 }), line(y, { color: INK, width: 1.3, dash: "dash" })]),
  })} />`;
}

/** @param {{live: Data, pinned: Data | null}} given */
export function Terms({ live, pinned }) {
  const beside = (/** @type {number} */ n) => pinned?.terms[n];
  return html`
    <table class="terms">
      <caption>Score, dB: less is better${live.leaks_too_much ? "; too much power leaves above the window" : ""}</caption>
      <thead><tr><th scope="col">part</th><th scope="col">measured</th><th scope="col">weight</th>
        <th scope="col">share</th>${pinned && html`<th scope="col">pinned</th>`}</tr></thead>
      <tbody>
        ${live.terms.map((/** @type {Data} */ term, /** @type {number} */ n) => html`
          <tr><th scope="row">${term.name}</th><td>${term.measured.toFixed(2)}</td>
            <td>${term.weight}</td><td>${term.cost.toFixed(2)}</td>
            ${pinned && html`<td>${beside(n)?.cost.toFixed(2)}</td>`}</tr>`)}
        <tr class="sum"><th scope="row">score</th><td /><td /><td>${live.score.toFixed(2)}</td>
          ${pinned && html`<td>${pinned.score.toFixed(2)}</td>`}</tr>
      </tbody>
    </table>`;
}
