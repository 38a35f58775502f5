"use strict";

(function explorer() {
  const INK = "#243039", QUIET = "#5f6f7a", FAINT = "#d5dbdf";
  const CHOSEN = "#0072b2", WINDOW = "#c2410c", BEST = "#5f6f7a";
  const WOOD = "#efe2cc", FOAM = "#c9dbe6", PLATE = "#dcc7a1", ROD = "#b9a47f", FELT = "#6b7a4b";
  const FONT = getComputedStyle(document.body).fontFamily;
  const CONFIG = { displayModeBar: false, responsive: true };
  const HUNDREDTHS = 100;
  const BESIDE = 86;  // pixels kept free beside the section for its dimensions

  const data = JSON.parse(document.getElementById("data").textContent);
  const [maps, windows, curves] = [data.maps, data.windows, data.curves].map(unpacked);
  const [knob, gap] = data.knobs;
  const bands = data.frequency.bands.length, elevations = data.elevations.length;
  const lines = 1 + data.seats.length;
  placeCells();

  const state = { place: data.best, seat: 0, level: "absolute" };
  const drawings = {
    map: drawMap, section: drawSection, coverage: drawCoverage, curve: drawCurve, parts: drawParts,
  };
  let waiting = false;

  function element(id) { return document.getElementById(id); }

  // 16-bit whole hundredths of a decibel, least significant byte first.
  function unpacked(text) {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    return new Int16Array(bytes.buffer);
  }

  // Solved cells follow each other in the packed levels; curves differ in length.
  function placeCells() {
    let turn = 0, start = 0;
    for (const cell of data.cells) {
      if (!cell.solved) continue;
      cell.turn = turn++;
      cell.start = start;
      start += lines * data.frequencies[cell.per_band].length;
    }
  }

  function decibels(packed, start, count) {
    return Array.from(packed.subarray(start, start + count), (level) => level / HUNDREDTHS);
  }

  function place(i, j) { return i * data.shape[1] + j; }
  function row(at) { return Math.floor(at / data.shape[1]); }
  function column(at) { return at % data.shape[1]; }

  function axis(title, more) {
    return {
      title: { text: title, standoff: 4 }, color: INK, linecolor: QUIET, gridcolor: FAINT,
      ticks: "outside", ticklen: 3, zeroline: false, fixedrange: true, automargin: true, ...more,
    };
  }

  function ruled(size) {
    return size.ticks.length ? { tickvals: size.ticks, ticktext: size.tick_names } : {};
  }

  function frequencyAxis(title) {
    const edges = data.frequency.edges;
    return axis(title, {
      type: "log", range: [Math.log10(edges[0]), Math.log10(edges[edges.length - 1])],
      tickvals: data.frequency.ticks, ticktext: data.frequency.names,
    });
  }

  function layout(more) {
    return {
      font: { family: FONT, size: 11, color: INK }, margin: { l: 8, r: 8, t: 6, b: 8 },
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "#fff", showlegend: false, dragmode: false,
      hoverlabel: { align: "left", font: { size: 11 } }, ...more,
    };
  }

  function above(more) {
    return { orientation: "h", x: 0, y: 1.01, yanchor: "bottom", font: { size: 10 }, ...more };
  }

  function grid(value) {
    return gap.sizes.map((_, j) => knob.sizes.map((__, i) => value(data.cells[place(i, j)])));
  }

  function places(wanted) {
    return data.cells.flatMap((cell, at) => (wanted(cell) ? [at] : []));
  }

  function marks(at, symbol, size, look) {
    return {
      type: "scatter", mode: "markers", hoverinfo: "skip", marker: { symbol, size, ...look },
      x: at.map((n) => knob.sizes[row(n)]), y: at.map((n) => gap.sizes[column(n)]),
    };
  }

  function ends(edges) { return [edges[0], edges[edges.length - 1]]; }

  function ring(width, colour) {
    return marks([state.place], "circle-open", 22, { color: colour, line: { width } });
  }

  function drawMap() {
    const scores = {
      type: "heatmap", x: knob.edges, y: gap.edges, z: grid((cell) => cell.score ?? null),
      text: grid((cell) => cell.hover), hovertemplate: "%{text}<extra></extra>", hoverongaps: true,
      colorscale: "Cividis", reversescale: true, zmin: data.scores.low, zmax: data.scores.high,
      xgap: 1, ygap: 1, colorbar: { thickness: 9, outlinewidth: 0, title: { text: "dB" } },
    };
    const outline = {
      type: "scatter", mode: "lines", hoverinfo: "skip",
      x: data.region.x, y: data.region.y, line: { color: WINDOW, width: 3 },
    };
    const paper = { color: "#fff", line: { color: INK, width: 1 } };
    const traces = [
      scores, outline,
      marks(places((cell) => !cell.solved), "x-thin", 7, { line: { color: QUIET, width: 1.5 } }),
      marks(places((cell) => cell.choked), "triangle-down", 7, paper),
      marks([data.written], "square", 10, paper),
      marks([data.best], "star", 13, paper),
      ring(7, "#fff"), ring(3.5, CHOSEN),
    ];
    return [traces, layout({
      xaxis: axis(knob.title, { showgrid: false, range: ends(knob.edges), ...ruled(knob) }),
      yaxis: axis(gap.title, { showgrid: false, range: ends(gap.edges), ...ruled(gap) }),
      plot_bgcolor: "#eef1f3",
    })];
  }

  function solid(outline, lift, colour) {
    return {
      type: "scatter", mode: "lines", fill: "toself", fillcolor: colour, hoverinfo: "skip",
      x: [...outline.x, outline.x[0]], y: [...outline.z, outline.z[0]].map((z) => z + lift),
      line: { color: INK, width: 1 },
    };
  }

  function posts(height) {
    const { x, half, below, above } = data.section.posts;
    const z = [-below, -below, height + above, height + above];
    const rod = (middle) => [-half, half, half, -half].map((r) => middle + r);
    return [-x, x].map((middle) => solid({ x: rod(middle), z }, 0, ROD));
  }

  function felts({ inner, outer, low, high }, height) {
    const z = [low, low, high, high];
    return [1, -1].map((side) => {
      const x = [inner, outer, outer, inner].map((r) => side * r);
      return solid({ x, z }, height, FELT);
    });
  }

  function arrow(x, from, to, colour) {
    return {
      x, y: to, ax: x, ay: from, xref: "x", yref: "y", axref: "x", ayref: "y", text: "",
      showarrow: true, arrowhead: 2, arrowsize: 0.9, arrowwidth: 1.3, arrowcolor: colour,
    };
  }

  function words(text, x, y, xanchor, colour) {
    const font = { size: 11, color: colour };
    return { text, x, y, xanchor, showarrow: false, align: xanchor, font };
  }

  // A dimension line from low to high; its words stand at `label`, in two lines or three.
  function dimension(x, low, high, name, size, colour, label) {
    const text = `${name}<br>${label.wide ? size : size.replace(" (", "<br>(")}`;
    return [
      arrow(x, low, high, colour), arrow(x, high, low, colour),
      words(text, label.x, label.z ?? (low + high) / 2, label.anchor, colour),
    ];
  }

  function dimensions(cell, height) {
    const { half, foot, names } = data.section, { rim, tip } = cell, side = half + 8;
    const right = { x: side + 3, anchor: "left" }, left = { x: -side - 3, anchor: "right" };
    const below = { x: 0, z: foot + 14, anchor: "center", wide: true };
    const size = names[column(state.place)];
    const plate = dimension(side, 0, height, "plate gap", size, INK, right);
    if (!cell.drawn) return plate;
    return [
      ...plate,
      ...dimension(-side, 0, rim.z, "rim gap", rim.words, WINDOW, left),
      ...dimension(tip.x, tip.foot, tip.z, tip.name, tip.words, CHOSEN, below),
    ];
  }

  function thin(x0, x1, y0, y1, colour, dash) {
    return { type: "line", x0, x1, y0, y1, line: { color: colour, width: 0.8, dash } };
  }

  // The axis, and thin lines from what is measured out to the dimension lines.
  function extensions(cell, height) {
    const { half, foot, top } = data.section, side = half + 12;
    const level = (x0, x1, y, colour) => thin(x0, x1, y, y, colour, "dot");
    const found = [
      thin(0, 0, foot + 26, top, QUIET, "dashdot"),
      level(half, side, 0, INK), level(half, side, height, INK), level(-side, -half, 0, WINDOW),
    ];
    if (cell.drawn) found.push(level(-side, -cell.rim.x, cell.rim.z, WINDOW));
    return found;
  }

  function moving({ x, z }) {
    const line = { color: CHOSEN, width: 2.5 };
    return { type: "scatter", mode: "lines", x, y: z, hoverinfo: "skip", line };
  }

  function drawSection() {
    const cell = data.cells[state.place], { section } = data;
    const height = section.heights[column(state.place)];
    const reflector = section.reflectors[row(state.place)];
    const hung = section.hung_felts[row(state.place)];
    const traces = [solid(section.lower, 0, WOOD)];
    if (section.felt) traces.push(...felts(section.felt, 0));
    if (hung) traces.push(...felts(hung, height));
    if (reflector) traces.push(solid(reflector, height, FOAM));
    if (section.plate) traces.push(solid(section.plate, height, PLATE));
    if (section.posts) traces.push(...posts(height));
    traces.push(...section.moving.map(moving));
    const hidden = { visible: false, fixedrange: true };
    const width = element("section").clientWidth;
    const reach = section.half * width / (width - 2 * BESIDE);
    return [traces, layout({
      margin: { l: 2, r: 2, t: 2, b: 2 },
      annotations: dimensions(cell, height), shapes: extensions(cell, height),
      xaxis: { ...hidden, range: [-reach, reach] },
      yaxis: { ...hidden, range: [section.foot, section.top + 4], scaleanchor: "x" },
    })];
  }

  function empty(text) {
    const hidden = { visible: false };
    const note = { text, showarrow: false, xref: "paper", yref: "paper", x: 0.5, y: 0.5 };
    return [[], layout({ xaxis: hidden, yaxis: hidden, annotations: [note] })];
  }

  function levelsOf(cell) {
    const rows = [];
    const own = state.level === "normalised" ? decibels(windows, cell.turn * bands, bands) : null;
    for (let e = 0; e < elevations; e++) {
      const levels = decibels(maps, (cell.turn * elevations + e) * bands, bands);
      rows.push(own ? levels.map((level, b) => level - own[b]) : levels);
    }
    return rows;
  }

  function drawCoverage() {
    const cell = data.cells[state.place], look = data.levels[state.level];
    if (!cell.solved) return empty("not solved");
    const levels = {
      type: "heatmap", x: data.frequency.edges, y: data.elevations, z: levelsOf(cell),
      zmin: look.low, zmax: look.high, colorscale: look.colours, zsmooth: false,
      text: data.elevations.map(() => data.frequency.bands),
      hovertemplate: "%{text}, %{y} deg: %{z:.1f} dB<extra></extra>",
      colorbar: {
        thickness: 9, outlinewidth: 0, title: { text: "dB" },
        tick0: look.low, dtick: 2 * data.levels.step,
      },
    };
    return [[levels], layout({
      xaxis: frequencyAxis("frequency, Hz; dashed: edges of the window"),
      yaxis: axis("elevation, degrees", {
        range: [-90.5, 90.5], tickvals: [-90, -60, -30, 0, 30, 60, 90], showgrid: false,
      }),
      shapes: data.window.flatMap((y) => [level(y, "#fff", 2.5), level(y, INK, 1.3, "dash")]),
    })];
  }

  function level(y, color, width, dash) {
    const line = { color, width, dash };
    return { type: "line", xref: "paper", x0: 0, x1: 1, y0: y, y1: y, line };
  }

  function line(cell, number, name, look) {
    const x = data.frequencies[cell.per_band];
    const y = decibels(curves, cell.start + number * x.length, x.length);
    const hovertemplate = "%{x:.0f} Hz: %{y:.1f} dB<extra>%{fullData.name}</extra>";
    return { type: "scatter", mode: "lines", name, x, y, line: look, hovertemplate };
  }

  function drawCurve() {
    const cell = data.cells[state.place], best = data.cells[data.best];
    const seat = data.seats.length ? state.seat + 1 : 0;
    const where = seat ? "seat" : "window";
    const traces = [line(best, seat, `best, ${where}`, { color: BEST, width: 1.2, dash: "dot" })];
    if (cell.solved) {
      const dashed = { color: WINDOW, width: 1.6, dash: "dash" };
      if (seat) traces.push(line(cell, 0, "chosen, window", dashed));
      traces.push(line(cell, seat, `chosen, ${where}`, { color: CHOSEN, width: 2 }));
    }
    return [traces, layout({
      xaxis: frequencyAxis("frequency, Hz"),
      yaxis: axis("level, dB", { range: data.levels.curve, dtick: 10 }),
      showlegend: true, legend: above({ traceorder: "reversed" }),
    })];
  }

  function bars(cell, name, colour) {
    return {
      type: "bar", orientation: "h", name, y: data.terms, x: cell.shares,
      text: cell.shares.map((share) => share.toFixed(2)), textposition: "outside",
      textfont: { size: 10 }, cliponaxis: false, hoverinfo: "skip", marker: { color: colour },
    };
  }

  function drawParts() {
    const cell = data.cells[state.place];
    const traces = [bars(data.cells[data.best], "best", FAINT)];
    if (cell.solved) traces.push(bars(cell, "chosen", CHOSEN));
    return [traces, layout({
      xaxis: axis("share of the score, weight included, dB", {
        range: [0, 1.12 * data.most_share],
      }),
      yaxis: axis("", { autorange: "reversed", ticks: "", showgrid: false }), bargap: 0.3,
      showlegend: true, legend: above({ traceorder: "reversed" }),
    })];
  }

  function draw(names) {
    for (const name of names) Plotly.react(name, ...drawings[name](), CONFIG);
  }

  function tell() {
    const cell = data.cells[state.place];
    const at = [row(state.place), column(state.place)];
    data.knobs.forEach((each, n) => {
      const words = each.words[at[n]], slider = element(`knob${n}`);
      slider.value = at[n];
      slider.setAttribute("aria-valuetext", words);
      element(`size${n}`).textContent = words;
    });
    element("verdict").textContent = cell.verdict;
    element("task").textContent = cell.task;
    element("fineness").textContent = cell.fineness ?? "not solved";
  }

  // Words follow at once; pictures once a frame, however fast a slider is drawn.
  function choose(at) {
    state.place = at;
    tell();
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; draw(Object.keys(drawings)); });
  }

  function listen() {
    const sliders = [element("knob0"), element("knob1")];
    const turned = () => choose(place(...sliders.map((slider) => Number(slider.value))));
    for (const slider of sliders) slider.addEventListener("input", turned);
    addEventListener("resize", () => draw(["section"]));
    element("to-best").addEventListener("click", () => choose(data.best));
    element("to-written").addEventListener("click", () => choose(data.written));
    element("map").on("plotly_click", (event) => {
      const [j, i] = event.points[0].pointIndex;
      choose(place(i, j));
    });
    for (const button of document.querySelectorAll("input[name=level]")) {
      button.addEventListener("change", () => { state.level = button.value; draw(["coverage"]); });
    }
    element("seat")?.addEventListener("change", (event) => {
      state.seat = Number(event.target.value);
      draw(["curve"]);
    });
  }

  tell();
  draw(Object.keys(drawings));
  listen();
})();
