// The form: every key of the design, its mistakes beside it.
import { html, useEffect, useState } from "./preact-htm.js";

/** @typedef {Record<string, any>} Data */
/** @typedef {(key: string, action: string, value?: string) => Promise<string>} Edit */

const OPEN_AT_FIRST = new Set(["design", "driver", "reflector"]);

/**
 * @param {{groups: Data[], mistakes: Data[], edit: Edit}} given
 */
export function Form({ groups, mistakes, edit }) {
  const placed = keysOf(groups);
  const elsewhere = mistakes.filter((one) => !placed.has(one.key) && !placed.has(withoutEntry(one.key)));
  return html`
    <section class="form" aria-label="Design">
      <${Mistakes} found=${elsewhere} named />
      ${groups.map((group) => html`
        <${Group} key=${group.key} group=${group} mistakes=${mistakes} edit=${edit} top />`)}
    </section>`;
}

/** @param {{found: Data[], named?: boolean}} given */
export function Mistakes({ found, named }) {
  if (!found.length) return null;
  return html`<ul class="mistakes" role="alert">
    ${found.map((one) => html`<li>${named && one.key ? `${one.key}: ` : ""}${one.message}</li>`)}
  </ul>`;
}

/**
 * Every key that has a place of its own in the form.
 * @param {Data[]} nodes
 * @returns {Set<string>}
 */
function keysOf(nodes) {
  const found = new Set();
  for (const node of nodes) {
    found.add(node.key);
    for (const key of keysOf(node.fields ?? node.entries ?? [])) found.add(key);
  }
  return found;
}

/** The list that an entry stands in: a list is one field. @param {string} key */
function withoutEntry(key) { return key.replace(/\[\d+\]$/, ""); }

/** Mistakes at one field, entries of its list included. @param {string} key @param {Data[]} mistakes */
function at(key, mistakes) {
  return mistakes.filter((one) => one.key === key || withoutEntry(one.key) === key);
}

/** @param {Data} node @param {Data[]} mistakes */
function inside(node, mistakes) {
  const own = node.key === "design" ? keysOf(node.fields) : keysOf([node]);
  return mistakes.filter((one) => own.has(one.key) || own.has(withoutEntry(one.key)));
}

/** @param {{group: Data, mistakes: Data[], edit: Edit, top?: boolean}} given */
function Group({ group, mistakes, edit, top }) {
  const wrong = inside(group, mistakes).length;
  const [open, setOpen] = useState(OPEN_AT_FIRST.has(group.key) || (!top && group.there));
  useEffect(() => { if (wrong) setOpen(true); }, [wrong]);
  const here = mistakes.filter((one) => one.key === group.key);
  const optional = !group.needed && !group.entries;
  const said = (/** @type {Data} */ node) => node.needed || node.value || node.there
    || inside(node, mistakes).length > 0;
  const fields = group.fields ?? [], more = fields.filter((/** @type {Data} */ node) => !said(node));
  const state = group.entries ? `${group.entries.length}`
    : group.there ? "" : group.needed ? "" : "left out";
  return html`
    <details class=${top ? "group" : "group inner"} open=${open}
      onToggle=${(/** @type {any} */ event) => setOpen(event.target.open)}>
      <summary>
        <span class="name">${group.name}</span>
        ${state && html`<span class="quiet"> ${state}</span>`}
        ${wrong > 0 && html`<span class="count">${wrong === 1 ? "1 mistake" : `${wrong} mistakes`}</span>`}
      </summary>
      ${open && html`
        ${group.help && html`<p class="quiet">${group.help}</p>`}
        <${Mistakes} found=${here} />
        ${fields.filter(said).map((/** @type {Data} */ node) => html`
          <${Node} key=${node.key} node=${node} mistakes=${mistakes} edit=${edit} />`)}
        ${more.length > 0 && html`<details class="more"><summary>more about ${group.name}</summary>
          ${more.map((/** @type {Data} */ node) => html`
            <${Node} key=${node.key} node=${node} mistakes=${mistakes} edit=${edit} />`)}</details>`}
        ${(group.entries ?? []).map((/** @type {Data} */ node) => html`
          <${Group} key=${node.key} group=${node} mistakes=${mistakes} edit=${edit} />`)}
        ${group.entries && html`<button type="button" onClick=${() => edit(group.next, "add")}>
          Add one to ${group.name}</button>`}
        ${optional && !group.there && html`
          <button type="button" onClick=${() => edit(group.key, "add")}>Add ${group.name}</button>`}
        ${optional && group.there && html`
          <button type="button" class="small" onClick=${() => edit(group.key, "remove")}>
            Leave ${group.name} out</button>`}`}
    </details>`;
}

/** @param {{node: Data, mistakes: Data[], edit: Edit}} given */
function Node({ node, mistakes, edit }) {
  if (node.fields || node.entries) {
    return html`<${Group} group=${node} mistakes=${mistakes} edit=${edit} />`;
  }
  return html`<${Field} field=${node} edit=${edit}
    found=${at(node.key, mistakes)} />`;
}

/** @param {{field: Data, found: Data[], edit: Edit}} given */
function Field({ field, found, edit }) {
  const [typed, setTyped] = useState(/** @type {string | null} */ (null));
  const [refused, setRefused] = useState("");
  const shown = typed ?? field.value;
  const id = `field-${field.key}`;
  const all = refused ? [...found, { message: refused }] : found;
  const change = async (/** @type {string} */ value) => {
    setTyped(value);
    setRefused(await edit(field.key, "set", value));
  };
  const common = {
    id, "aria-describedby": `${id}-help`, "aria-invalid": all.length ? "true" : "false",
    onBlur: () => setTyped(null),
  };
  const choice = field.choices.length > 0;
  return html`
    <div class=${all.length ? "field wrong" : "field"}>
      <label for=${id}>${field.name}</label>
      <span class="value">
        ${choice ? html`
          <select ...${common} value=${shown}
            onChange=${(/** @type {any} */ event) => change(event.target.value)}>
            ${(!field.needed || !shown) && html`<option value="">
              ${field.usual ? `${inWords(field.usual)} (usual)` : "left out"}</option>`}
            ${field.choices.map((/** @type {string} */ one) => html`
              <option value=${one} selected=${one === shown}>${inWords(one)}</option>`)}
          </select>` : html`
          <input type="text" ...${common} value=${shown} placeholder=${field.usual}
            autocomplete="off" spellcheck=${false}
            onInput=${(/** @type {any} */ event) => change(event.target.value)} />`}
        ${field.unit && !/[a-z]/i.test(shown || field.usual) && html`<span class="unit">${field.unit}</span>`}
        ${field.mark && html`<span class=${`mark ${field.mark}`}>${field.mark}</span>`}
      </span>
      <${Mistakes} found=${all} />
      <p class="help" id=${`${id}-help`}>${field.help}</p>
    </div>`;
}

/** @param {string} word */
function inWords(word) {
  return word === "true" ? "yes" : word === "false" ? "no" : word;
}
