/**
 * The work order that was taken, and what came out of it.
 *
 * @typedef {object} Order the plan that somebody took, and how far it is done
 * @property {number} place
 * @property {string} cost
 * @property {string} standing
 * @property {string} by
 * @property {string} utc
 * @property {OrderLine[]} lines
 * @property {number} done
 * @property {number} of
 *
 * @typedef {object} OrderLine
 * @property {string} operation what it is called once it is done
 * @property {string} words
 * @property {string} depth
 * @property {{name: string, done: boolean}[]} owners the valves; none for the head
 * @property {boolean} finished
 * @property {string} told what was told of the work done
 * @property {OrderFigure[]} figures what it should leave behind, and what was found
 *
 * @typedef {object} OrderFigure
 * @property {string | null} valve none: the head
 * @property {string} figure
 * @property {string} expected
 * @property {string} moved by how much the depths that were told move it away from the plan
 * @property {boolean} done whether the work of the line is done there
 * @property {string} found what was measured since; empty: nothing yet
 * @property {string} difference
 * @property {"" | "as foretold" | "surprise"} word
 * @property {string} words the surprise as a sentence
 */

export {};
