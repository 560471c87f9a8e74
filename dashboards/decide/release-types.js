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
 * @property {string} gauge the gauge of that check
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
 * @typedef {object} Spring one spring, as far as it is known; what is not known is empty
 * @property {string} valve
 * @property {string} kinds of valves that the book says the same of
 * @property {"not limited" | "not tested" | "test again" | "tested"} state
 * @property {string} void the work since, after which another spring stands there
 * @property {string} told load on the tester
 * @property {string} u
 * @property {string} by
 * @property {number | null} place
 * @property {string} tested_at
 * @property {string} installed
 * @property {number | null} step where the installed height is measured
 * @property {string} load at the installed height
 * @property {string} load_limit
 * @property {"" | "within" | "outside" | "undecided"} load_verdict
 * @property {string} load_words
 * @property {string} room before the coils touch at full lift
 * @property {string} room_limit
 * @property {"" | "within" | "outside" | "undecided"} room_verdict
 * @property {string} room_words
 *
 * @typedef {object} Chamber one chamber of the head, as far as it is known; what is not known is empty
 * @property {number} cylinder
 * @property {"reckoned" | "measured" | "measure again"} state where the volume that counts is from
 * @property {string} void the work since, after which it holds another volume
 * @property {string} told volume, as somebody filled it
 * @property {string} u
 * @property {string} by
 * @property {number | null} place
 * @property {string} volume that counts now
 * @property {string} volume_limit
 * @property {"" | "within" | "outside" | "undecided"} volume_verdict
 * @property {string} ratio of compression
 * @property {string} ratio_limit
 * @property {"" | "within" | "outside" | "undecided"} ratio_verdict
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
 * @property {Spring[]} springs none where the sheet says nothing of springs
 * @property {Chamber[]} chambers none where the sheet says nothing of chambers
 * @property {Deviation[]} deviations
 */

export {};
