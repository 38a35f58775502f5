// Test sounds, loudness by ITU-R BS.1770, and the odds of guessing: arithmetic only.

/**
 * Numbers that look random and are the same every time: linear congruential, 32 bits.
 * @param {number} seed
 */
function dice(seed) {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2147483648 - 1;
  };
}

/** Test sounds by name, each a function of the rate in samples a second. */
export const SOUNDS = {
  "noise bursts": noiseBursts,
  clicks,
  "plucked phrase": pluckedPhrase,
  "vowel glide": vowelGlide,
};

/**
 * Pink noise (3 dB less every octave) in bursts of 0.6 s with pauses: a sum of leaky integrators
 * of white noise, a decade of time constants apart by factors of three.
 * @param {number} rate
 */
function noiseBursts(rate) {
  const sound = new Float32Array(4 * rate), roll = dice(1);
  const poles = [];
  for (let corner = 10; corner < rate / 2; corner *= 3) poles.push(Math.exp(-2 * Math.PI * corner / rate));
  const held = poles.map(() => 0);
  for (let n = 0; n < sound.length; n++) {
    const white = roll();
    let sum = 0;
    poles.forEach((pole, i) => {
      held[i] = pole * held[i] + (1 - pole) * white / Math.sqrt(1 - pole);
      sum += held[i];
    });
    const within = (n / rate) % 1;
    const edge = Math.min(within, 0.6 - within) / 0.02;
    sound[n] = sum * Math.max(0, Math.min(1, edge));
  }
  return scaled(sound);
}

/** Two clicks a second. @param {number} rate */
function clicks(rate) {
  const sound = new Float32Array(4 * rate);
  for (let n = 0; n < sound.length; n += Math.round(rate / 2)) sound[n + 10] = 1;
  return sound;
}

/**
 * Eight plucked notes: a burst of noise in a loop of one period with a mean of two in it.
 * @param {number} rate
 */
function pluckedPhrase(rate) {
  const sound = new Float32Array(4 * rate), notes = [0, 4, 7, 12, 11, 7, 4, 2];
  notes.forEach((note, place) => {
    const period = Math.round(rate / (196 * 2 ** (note / 12))), roll = dice(7 + place);
    const loop = Float32Array.from({ length: period }, roll);
    const start = Math.round(place * 0.45 * rate), end = Math.min(sound.length, start + rate);
    for (let n = start, at = 0; n < end; n++, at = (at + 1) % period) {
      const next = (at + 1) % period;
      sound[n] += loop[at];
      loop[at] = 0.498 * (loop[at] + loop[next]);
    }
  });
  return faded(scaled(sound), rate);
}

/**
 * A voice-like glide: pulses whose pitch falls, through three resonances that move from "ah" to
 * "ee" and back. Formants of a man's vowels, rounded: common practice, no source.
 * @param {number} rate
 */
function vowelGlide(rate) {
  const sound = new Float32Array(4 * rate);
  const from = [730, 1090, 2440], to = [270, 2290, 3010], widths = [60, 90, 150];
  const one = [0, 0, 0], two = [0, 0, 0];
  let phase = 0;
  for (let n = 0; n < sound.length; n++) {
    const time = n / rate, turn = 0.5 - 0.5 * Math.cos(2 * Math.PI * time / 2);
    phase += (120 - 10 * time) / rate;
    let value = phase >= 1 ? 1 : 0;
    phase %= 1;
    for (let i = 0; i < 3; i++) {
      const middle = from[i] + (to[i] - from[i]) * turn;
      const decay = Math.exp(-Math.PI * widths[i] / rate);
      const b = 2 * decay * Math.cos(2 * Math.PI * middle / rate), c = -decay * decay;
      const next = (1 - b - c) * value + b * one[i] + c * two[i];
      two[i] = one[i];
      one[i] = next;
      value = next;
    }
    sound[n] = value;
  }
  return faded(scaled(sound), rate);
}

/** @param {Float32Array} sound */
function scaled(sound) {
  let most = 0;
  for (const value of sound) most = Math.max(most, Math.abs(value));
  return sound.map((value) => value / (most || 1));
}

/** @param {Float32Array} sound @param {number} rate */
function faded(sound, rate) {
  const length = Math.round(0.02 * rate);
  for (let n = 0; n < length; n++) {
    sound[n] *= n / length;
    sound[sound.length - 1 - n] *= n / length;
  }
  return sound;
}

/**
 * Loudness of one channel by ITU-R BS.1770, LKFS: K-weighting (its two filters at 48 kHz), blocks
 * of 400 ms that overlap by three quarters, gates at -70 LKFS and 10 LU below the mean.
 * @param {Float32Array} sound at 48 kHz
 * @returns {number} -Infinity for silence
 */
export function loudness(sound) {
  const weighted = filtered(filtered(sound,
    [1.53512485958697, -2.69169618940638, 1.19839281085285], [-1.69065929318241, 0.73248077421585]),
    [1, -2, 1], [-1.99004745483398, 0.99007225036621]);
  const length = 19200, hop = 4800, powers = [];
  for (let start = 0; start + length <= weighted.length; start += hop) {
    let sum = 0;
    for (let n = start; n < start + length; n++) sum += weighted[n] * weighted[n];
    powers.push(sum / length);
  }
  const level = (/** @type {number} */ power) => -0.691 + 10 * Math.log10(power);
  const mean = (/** @type {number[]} */ of) => of.reduce((sum, one) => sum + one, 0) / of.length;
  const heard = powers.filter((power) => level(power) > -70);
  if (!heard.length) return -Infinity;
  const gate = level(mean(heard)) - 10;
  return level(mean(heard.filter((power) => level(power) > gate)));
}

/** A second-order filter. @param {Float32Array} x @param {number[]} b @param {number[]} a */
function filtered(x, b, a) {
  const y = new Float32Array(x.length);
  let x1 = 0, x2 = 0, y1 = 0, y2 = 0;
  for (let n = 0; n < x.length; n++) {
    const value = b[0] * x[n] + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2;
    x2 = x1; x1 = x[n]; y2 = y1; y1 = value;
    y[n] = value;
  }
  return y;
}

/**
 * Chance of so many right answers or more by guessing between two: the upper tail of the binomial
 * distribution, sum over k from `right` of C(rounds, k) / 2^rounds.
 * @param {number} right
 * @param {number} rounds
 */
export function chanceOfGuessing(right, rounds) {
  let sum = 0, ways = 1;
  for (let k = 0; k <= rounds; k++) {
    if (k >= right) sum += ways;
    ways = ways * (rounds - k) / (k + 1);
  }
  return sum / 2 ** rounds;
}
