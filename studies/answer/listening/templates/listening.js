// The listening panel: designs heard through their impulse responses, and a blind test.
import { SOUNDS, chanceOfGuessing, loudness } from "./sounds.js";

/** @typedef {Record<string, any>} Data */

const TARGET_LKFS = -26, CEILING = 0.7, SWITCH_S = 0.012, LEAST_ROUNDS = 10, LONGEST_S = 30;

/**
 * Build the panel.
 * @param {HTMLElement} root
 * @param {Data} data designs with their responses at each seat
 */
export function listeningPanel(root, data) {
  const state = {
    seat: 0, sound: Object.keys(SOUNDS)[0], filters: false, room: false, volume: 0.3, heard: 0,
    /** @type {Float32Array | null} */ own: null,
  };
  const player = new Player(data.rate);
  const test = new BlindTest();
  root.classList.add("listening");
  const status = made("p", { className: "quiet", role: "status" });
  const buttons = data.designs.map((/** @type {Data} */ one, /** @type {number} */ n) =>
    made("button", { type: "button", textContent: one.name, onclick: () => hear(n) }));
  root.replaceChildren(
    made("p", { className: "caution", textContent: "Start low, and protect your hearing: a usual"
      + " limit is 85 dBA for 8 hours, half the time for every 3 dB more. Tones and clicks can harm"
      + " a driver before they sound loud." }),
    row(choice("Seat", data.seats, (value) => { state.seat = value; again(); }),
      choice("Sound", [...Object.keys(SOUNDS), "a file of mine"], (value) => {
        state.sound = [...Object.keys(SOUNDS), ""][value];
        ownFile.hidden = state.sound !== "";
        again();
      })),
    row(labelled("Volume", made("input", { type: "range", min: "0", max: "1", step: "0.01",
      value: String(state.volume), oninput: (/** @type {any} */ event) => {
        state.volume = Number(event.target.value); player.volume(state.volume); } })),
    ticked("with the filters of each", (on) => { state.filters = on; filters.hidden = !on; again(); }),
    ...(data.surfaces.length ? [ticked("with the first bounces of the room",
      (on) => { state.room = on; again(); })] : [])),
  );
  const filters = filterTable(data.designs);
  filters.hidden = true;
  const ownFile = labelled("A file that stays on this page: ", made("input", { type: "file",
    accept: "audio/*", onchange: (/** @type {any} */ event) => takeFile(event.target.files[0]) }));
  ownFile.hidden = true;
  root.append(ownFile, row(...buttons, made("button", { type: "button", textContent: "Stop",
    onclick: () => { player.stop(); mark(-1); } })), status, filters, blind());

  /** @param {File | undefined} file */
  async function takeFile(file) {
    if (!file) return;
    try {
      state.own = await player.decoded(await file.arrayBuffer());
      play();
    } catch { status.textContent = "This file cannot be played here: try WAV, FLAC or MP3."; }
  }

  function again() { if (player.runs) play(); }

  /** @param {number} which */
  function mark(which) {
    buttons.forEach((/** @type {HTMLElement} */ button, /** @type {number} */ n) =>
      button.setAttribute("aria-pressed", n === which ? "true" : "false"));
  }

  /** @param {number} n */
  async function hear(n) {
    state.heard = n;
    mark(test.on ? -1 : n);
    if (player.runs) player.turnTo(n); else await play();
  }

  async function play() {
    const dry = state.sound ? SOUNDS[/** @type {keyof typeof SOUNDS} */ (state.sound)](data.rate) : state.own;
    if (!dry) return;
    status.textContent = "One moment.";
    const found = await player.load(data.designs.map((/** @type {Data} */ one) => ({
      response: unpacked(one.seats[state.seat][state.room ? "room" : "free"]),
      filters: state.filters ? one.filters : [],
    })), dry);
    player.volume(state.volume);
    player.start(state.heard);
    mark(test.on ? -1 : state.heard);
    const own = found.map((level, n) => `${data.designs[n].name} ${signed(level)}`).join(", ");
    status.textContent = "All brought to the same loudness, ITU-R BS.1770 (gain in dB: "
      + `${test.on ? "not told during a test" : own}); peaks stay below ${(20 * Math.log10(CEILING)).toFixed(0)} dBFS.`
      + (state.room ? ` Direct sound and first bounces off ${data.surfaces.join(", ")}; no second ones, no furniture.`
        : " Direct sound at the seat, no room.")
      + " The driver's own curve is left out.";
  }

  function blind() {
    const names = data.designs.map((/** @type {Data} */ one) => one.name);
    const pair = [0, Math.min(1, names.length - 1)];
    const rounds = /** @type {HTMLInputElement} */ (made("input", { type: "number", min: String(LEAST_ROUNDS), max: "50", value: "10" }));
    const told = made("p", { role: "status" });
    const listen = ["A", "B", "X"].map((name) => made("button", { type: "button", disabled: true,
      textContent: `Hear ${name}`, title: `key ${name.toLowerCase()}`, onclick: () => hear(test.place(name, pair)) }));
    const answers = ["A", "B"].map((name, n) => made("button", { type: "button", disabled: true,
      textContent: `X is ${name}`, title: `key ${n + 1}`, onclick: () => answered(name) }));
    const begin = made("button", { type: "button", textContent: "Begin a blind test", onclick: start });
    const set = made("fieldset", {}, made("legend", { textContent: "Blind test" }),
      made("p", { className: "quiet", textContent: "X is A or B, by chance, anew each round. Listen as often as you like:"
        + " keys a, b, x; answer with 1 (X is A) or 2 (X is B)." }),
      row(choice("A", names, (value) => { pair[0] = value; }), choice("B", names, (value) => { pair[1] = value; }, pair[1]),
        labelled("Rounds", rounds), begin),
      row(...listen, ...answers), told);
    set.addEventListener("keydown", (event) => {
      if (!test.on || event.target instanceof HTMLInputElement || event.target instanceof HTMLSelectElement) return;
      const place = ["a", "b", "x", "1", "2"].indexOf(event.key.toLowerCase());
      if (place < 0 || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      [...listen, ...answers][place].click();
    });

    async function start() {
      if (pair[0] === pair[1]) { told.textContent = "Choose two different designs."; return; }
      test.begin(Math.max(LEAST_ROUNDS, Number(rounds.value) || LEAST_ROUNDS));
      lock(true);
      told.textContent = `Round 1 of ${test.rounds}.`;
      listen[2].focus();
      await hear(test.place("X", pair));
      if (test.on) mark(-1);
    }

    /** @param {string} name */
    function answered(name) {
      test.answer(name);
      if (test.on) {
        told.textContent = `Round ${test.done + 1} of ${test.rounds}.`;
        hear(test.place("X", pair));
        listen[2].focus();
        return;
      }
      player.stop();
      lock(false);
      told.textContent = test.result();
      begin.focus();
    }

    /** @param {boolean} on */
    function lock(on) {
      for (const button of [...listen, ...answers]) /** @type {HTMLButtonElement} */ (button).disabled = !on;
      for (const button of buttons) button.disabled = on;
      begin.textContent = on ? "Begin anew" : "Begin a blind test";
    }
    return set;
  }
}

/** Which of two sounds is X, round by round, and how often that was told right. */
class BlindTest {
  constructor() { this.on = false; this.rounds = 0; this.done = 0; this.right = 0; this.x = "A"; }

  /** @param {number} rounds */
  begin(rounds) {
    Object.assign(this, { on: true, rounds, done: 0, right: 0 });
    this.draw();
  }

  draw() { this.x = crypto.getRandomValues(new Uint8Array(1))[0] & 1 ? "A" : "B"; }

  /** @param {string} name @param {number[]} pair */
  place(name, pair) { return pair[(name === "X" ? this.x : name) === "A" ? 0 : 1]; }

  /** @param {string} name */
  answer(name) {
    this.right += name === this.x ? 1 : 0;
    this.done += 1;
    this.on = this.done < this.rounds;
    this.draw();
  }

  result() {
    const chance = chanceOfGuessing(this.right, this.done);
    const share = chance < 0.001 ? "less than 0.1" : (100 * chance).toFixed(1);
    const verdict = chance <= 0.05 ? "You hear a difference." : "This shows no difference that you hear.";
    return `${this.right} of ${this.done} right; whoever guesses gets so many or more in ${share} per cent of such tests. ${verdict}`;
  }
}

/** Plays several sounds at once, in step, one of them to be heard. */
class Player {
  /** @param {number} rate */
  constructor(rate) {
    this.rate = rate;
    this.runs = false;
    /** @type {any} */ this.context = null;
    /** @type {any[]} */ this.sources = [];
    /** @type {any[]} */ this.gains = [];
    /** @type {AudioBuffer[]} */ this.buffers = [];
  }

  ready() {
    if (!this.context) {
      this.context = new AudioContext({ sampleRate: this.rate });
      this.master = this.context.createGain();
      this.master.connect(this.context.destination);
    }
    return this.context;
  }

  /** @param {ArrayBuffer} file */
  async decoded(file) {
    const buffer = await this.ready().decodeAudioData(file);
    const length = Math.min(buffer.length, LONGEST_S * this.rate), mono = new Float32Array(length);
    for (let channel = 0; channel < buffer.numberOfChannels; channel++) {
      const part = buffer.getChannelData(channel);
      for (let n = 0; n < length; n++) mono[n] += part[n] / buffer.numberOfChannels;
    }
    return mono;
  }

  /**
   * Convolve a sound with every response, and bring all to one loudness.
   * @param {{response: Float32Array, filters: Data[]}[]} designs
   * @param {Float32Array} dry
   * @returns {Promise<number[]>} gain of each over the one that gets least, dB
   */
  async load(designs, dry) {
    const rendered = await Promise.all(designs.map((one) => this.render(one, dry)));
    const levels = rendered.map((buffer) => loudness(buffer.getChannelData(0)));
    let gains = levels.map((level) => (Number.isFinite(level) ? 10 ** ((TARGET_LKFS - level) / 20) : 0));
    const peaks = rendered.map((buffer, n) => gains[n] * peak(buffer.getChannelData(0)));
    const most = Math.max(...peaks);
    if (most > CEILING) gains = gains.map((gain) => gain * CEILING / most);
    rendered.forEach((buffer, n) => {
      const samples = buffer.getChannelData(0);
      for (let i = 0; i < samples.length; i++) samples[i] *= gains[n];
    });
    this.stop();
    this.buffers = rendered;
    const least = Math.min(...gains);
    return gains.map((gain) => 20 * Math.log10(gain / least));
  }

  /** @param {{response: Float32Array, filters: Data[]}} one @param {Float32Array} dry */
  render({ response, filters }, dry) {
    const offline = new OfflineAudioContext(1, dry.length + response.length, this.rate);
    const source = offline.createBufferSource(), convolver = offline.createConvolver();
    convolver.normalize = false;
    convolver.buffer = bufferOf(offline, response);
    source.buffer = bufferOf(offline, dry);
    /** @type {AudioNode} */
    let last = source.connect(convolver);
    for (const one of filters) {
      const filter = offline.createBiquadFilter();
      filter.type = one.type;
      filter.frequency.value = one.frequency;
      filter.gain.value = one.gain;
      filter.Q.value = one.q;
      last = last.connect(filter);
    }
    last.connect(offline.destination);
    source.start();
    return offline.startRendering();
  }

  /** @param {number} which */
  start(which) {
    const context = this.ready(), at = context.currentTime + 0.05;
    context.resume();
    this.gains = this.buffers.map((_, n) => {
      const gain = context.createGain();
      gain.gain.value = n === which ? 1 : 0;
      gain.connect(this.master);
      return gain;
    });
    this.sources = this.buffers.map((buffer, n) => {
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.loop = true;
      source.connect(this.gains[n]);
      source.start(at);
      return source;
    });
    this.runs = true;
  }

  /** Fade over, in step: there is no gap. @param {number} which */
  turnTo(which) {
    const now = this.context.currentTime;
    this.gains.forEach((gain, n) => gain.gain.setTargetAtTime(n === which ? 1 : 0, now, SWITCH_S / 3));
  }

  /** @param {number} share */
  volume(share) { this.ready(); this.master.gain.value = share * share; }

  stop() {
    for (const source of this.sources) source.stop();
    this.sources = [];
    this.runs = false;
  }
}

/** @param {BaseAudioContext} context @param {Float32Array} samples */
function bufferOf(context, samples) {
  const buffer = context.createBuffer(1, samples.length, context.sampleRate);
  buffer.getChannelData(0).set(samples);
  return buffer;
}

/** @param {Float32Array} samples */
function peak(samples) {
  let most = 0;
  for (const value of samples) most = Math.max(most, Math.abs(value));
  return most;
}

/** 16-bit whole numbers of a scale. @param {Data} response */
function unpacked({ samples, scale }) {
  const bytes = Uint8Array.from(atob(samples), (letter) => letter.charCodeAt(0));
  return Float32Array.from(new Int16Array(bytes.buffer), (value) => value / 32767 * scale);
}

/** @param {number} level */
function signed(level) { return `${level >= 0 ? "+" : ""}${level.toFixed(1)}`; }

/** @param {string} tag @param {Data} given @param {...(Node | string)} children @returns {HTMLElement} */
function made(tag, given, ...children) {
  const element = Object.assign(document.createElement(tag), given);
  element.append(...children);
  return element;
}

/** @param {...Node} children */
function row(...children) { return made("div", { className: "row" }, ...children); }

/** @param {string} words @param {HTMLElement} input */
function labelled(words, input) { return made("label", {}, `${words} `, input); }

/** @param {string} words @param {(on: boolean) => void} turned */
function ticked(words, turned) {
  const box = made("input", { type: "checkbox",
    onchange: (/** @type {any} */ event) => turned(event.target.checked) });
  return made("label", { className: "tick" }, box, ` ${words}`);
}

/** The filters of every design. @param {Data[]} designs */
function filterTable(designs) {
  const cells = (/** @type {string} */ tag, /** @type {string[]} */ words) =>
    made("tr", {}, ...words.map((word) => made(tag, { textContent: word })));
  const rows = designs.flatMap((one) => (one.filters.length ? one.filters : [null]).map(
    (/** @type {Data | null} */ filter, /** @type {number} */ n) =>
    cells("td", [n ? "" : one.name, ...(filter ? [filter.type.replace("shelf", " shelf"),
      `${filter.frequency} Hz`, `${signed(filter.gain)} dB`,
      filter.type === "peaking" ? filter.q.toFixed(2) : ""] : ["none is worth its trouble", "", "", ""])])));
  return made("table", {}, made("caption", { textContent: "Filters of each (second order, at 48 kHz)" }),
    made("thead", {}, cells("th", ["design", "filter", "frequency", "gain", "Q"])),
    made("tbody", {}, ...rows));
}

/** @param {string} words @param {string[]} options @param {(value: number) => void} chosen @param {number} [first] */
function choice(words, options, chosen, first = 0) {
  const select = /** @type {HTMLSelectElement} */ (made("select", {
    onchange: (/** @type {any} */ event) => chosen(Number(event.target.value)) },
  ...options.map((name, n) => made("option", { value: String(n), textContent: name, selected: n === first }))));
  return labelled(words, select);
}
