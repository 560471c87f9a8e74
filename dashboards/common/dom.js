/**
 * Make and patch parts of a page. Every text goes in as text: what a gauge, a file or a person
 * wrote can never become markup, because nothing in these pages reads markup.
 */

const SVG = "http://www.w3.org/2000/svg";

/**
 * @typedef {string | number | boolean | null | undefined} AttributeValue
 * @typedef {Record<string, AttributeValue>} Attributes
 */

/**
 * Set attributes; null, undefined and false take one away, true sets it empty.
 * @param {Element} node
 * @param {Attributes} attributes
 */
export function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) {
      node.removeAttribute(name);
    } else {
      const text = value === true ? "" : String(value);
      if (node.getAttribute(name) !== text) {
        node.setAttribute(name, text);
      }
    }
  }
}

/**
 * Make an HTML element. Children that are texts become text nodes.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Attributes} [attributes]
 * @param {...(Node | string)} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function h(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  set(node, attributes);
  node.append(...children);
  return node;
}

/**
 * Make an SVG element.
 * @template {keyof SVGElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Attributes} [attributes]
 * @param {...(Node | string)} children
 * @returns {SVGElementTagNameMap[Tag]}
 */
export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  set(node, attributes);
  node.append(...children);
  return node;
}

/**
 * Set an element's text, touching the page only when it differs.
 * @param {Element} node
 * @param {string} text
 */
export function setText(node, text) {
  if (node.textContent !== text) {
    node.textContent = text;
  }
}

/** @type {WeakMap<Element, string>} */
const drawn = new WeakMap();

/**
 * Say whether an element has yet to be drawn for this value, and remember that it now is. Values
 * arrive newly parsed ten times a second, so they are compared by what they hold.
 * @param {Element} node
 * @param {unknown} value
 * @returns {boolean}
 */
export function changed(node, value) {
  const now = JSON.stringify(value) ?? "";
  if (drawn.get(node) === now) {
    return false;
  }
  drawn.set(node, now);
  return true;
}

/** @type {WeakMap<Element, {nodes: Map<string, HTMLElement>, after: Element | null}>} */
const lists = new WeakMap();

/**
 * Make a parent's children follow a list: kept by key, moved only if the order changed, drawn
 * again only if the item changed. Two items with one key are told apart by their order. Children
 * that stood there before the first call, such as a table's head, stay in front.
 * @template Item
 * @param {Element} parent
 * @param {readonly Item[]} items
 * @param {(item: Item) => string | number} keyOf
 * @param {(item: Item) => HTMLElement} make
 * @param {(node: HTMLElement, item: Item) => void} draw
 */
export function patchList(parent, items, keyOf, make, draw) {
  const list = lists.get(parent) ?? { nodes: new Map(), after: parent.lastElementChild };
  /** @type {Map<string, Item>} */
  const wanted = new Map();
  for (const item of items) {
    let key = String(keyOf(item));
    while (wanted.has(key)) {
      key += "'";
    }
    wanted.set(key, item);
  }
  for (const [key, node] of list.nodes) {
    if (!wanted.has(key)) {
      node.remove();
    }
  }
  /** @type {Map<string, HTMLElement>} */
  const now = new Map();
  let here = list.after === null ? parent.firstElementChild : list.after.nextElementSibling;
  for (const [key, item] of wanted) {
    const node = list.nodes.get(key) ?? make(item);
    now.set(key, node);
    if (changed(node, item)) {
      draw(node, item);
    }
    if (here !== null && node === here) {
      here = here.nextElementSibling;
    } else {
      parent.insertBefore(node, here);
    }
  }
  lists.set(parent, { nodes: now, after: list.after });
}

/**
 * Send a word up to the page.
 * @param {Element} from
 * @param {string} name
 * @param {unknown} detail
 */
export function tell(from, name, detail) {
  from.dispatchEvent(new CustomEvent(name, { bubbles: true, detail }));
}

/**
 * The time of day, where the page is looked at, of a moment in UTC; empty if it is none.
 * @param {string} utc
 * @returns {string}
 */
export function timeOfDay(utc) {
  const moment = new Date(utc);
  return Number.isNaN(moment.getTime())
    ? ""
    : moment.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
}
