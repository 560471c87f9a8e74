/**
 * The document that says whether the head may be released.
 *
 * @typedef {object} ToSign the verdict or surprise that a deviation is signed for, as the bench has it
 * @property {string} valve
 * @property {string} characteristic
 * @property {string} method
 * @property {string} limit
 * @property {string} value
 * @property {number[]} places
 *
 * @typedef {object} Against something that stands against a release, of one valve or of several
 * @property {string[]} valves none: the head, or a gauge
 * @property {string} what
 * @property {string} why
 * @property {number | null} step where it is measured
 * @property {ToSign | null} sign
 * @property {number | null} strike the zero check that may have been wrong itself
 *
 * @typedef {object} Group
 * @property {string} kind
 * @property {string} title
 * @property {number} count
 * @property {Against[]} rows
 * @property {number} more rows that are left out
 *
 * @typedef {"not looked at" | "look again" | "sound" | "condemned"} LookState
 *
 * @typedef {object} Cell one check of one valve; the head has no name
 * @property {string} valve
 * @property {LookState} state
 * @property {string} by
 * @property {string} words
 * @property {number | null} place
 *
 * @typedef {object} Check
 * @property {string} name
 * @property {"valve" | "head"} of
 * @property {string} at what to look at
 * @property {boolean} required
 * @property {Cell[]} cells
 *
 * @typedef {object} Deviation
 * @property {number} place
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {string} method
 * @property {string} value
 * @property {string} limit
 * @property {string} by
 * @property {string} reason
 * @property {string} utc
 * @property {"holds" | "void" | "struck out"} state
 * @property {string} why
 *
 * @typedef {object} Release
 * @property {string} sentence how the head stands
 * @property {boolean} released
 * @property {number | null} place of the last release in the record
 * @property {string} at
 * @property {string} by
 * @property {string} words
 * @property {string} taken_back
 * @property {number} count
 * @property {Group[]} groups
 * @property {Check[]} checks
 * @property {Deviation[]} deviations
 */

export {};
