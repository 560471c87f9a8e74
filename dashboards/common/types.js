/**
 * The documents that the pages draw, as they come down the stream.
 *
 * Numbers are for drawing only. Texts are for showing and are shown as they are: a page never
 * rounds, converts or re-formats what a gauge said. What is absent is null.
 *
 * @typedef {"within" | "outside" | "undecided"} VerdictWord
 *
 * @typedef {object} Scale what a limit scale draws
 * @property {number | null} lower_mm
 * @property {number | null} upper_mm
 * @property {number | null} value_mm
 * @property {number | null} u_mm standard uncertainty; the whisker is twice as long to each side
 * @property {VerdictWord | null} verdict
 *
 * @typedef {object} Verdict
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {"" | "rock" | "direct"} method
 * @property {string} text
 * @property {string} unit
 * @property {string} u_text
 * @property {VerdictWord} verdict
 * @property {number | null} probability
 * @property {string} limit
 * @property {string} source
 * @property {string} reason
 * @property {number[]} places
 * @property {Scale} scale
 *
 * @typedef {object} Fault whose fault a clearance over its limit is
 * @property {number} verdict number of the verdict that it is about, from 0
 * @property {string} valve
 * @property {"rock" | "direct"} method
 * @property {string} by how it was told; empty where it cannot be
 * @property {"none" | "valve" | "guide" | "either" | "both" | null} answer
 * @property {number | null} probability that the answer is right
 * @property {Record<string, number> | null} probabilities of all answers
 * @property {boolean} sure whether to act on it
 * @property {string} words
 * @property {string[]} remarks doubts, and what is missing
 *
 * @typedef {object} Decider what would decide a verdict that only its uncertainty keeps undecided
 * @property {number} verdict number of the verdict that it is about, from 0
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {"" | "rock" | "direct"} method
 * @property {number | null} more so many more readings; null where no number can, or nobody knows
 * @property {number} u_needed_um 0 where the value lies on its limit
 * @property {string[]} gauges those of the bench that can
 * @property {string} words
 *
 * @typedef {object} Reading
 * @property {number} place place in the record
 * @property {"reading" | "sweep" | "parked" | "refused" | "skipped"} kind
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {string} station
 * @property {string} direction
 * @property {string} text
 * @property {string} unit
 * @property {string} gauge
 * @property {string} operator
 * @property {string} utc
 * @property {string} raw
 * @property {"good" | "struck out" | "unassigned" | "refused" | "skipped" | "not usable" | "stale"} state
 * @property {string} reason
 * @property {string} doubt why the reading is doubtful; empty where it is not
 * @property {Scale | null} scale
 *
 * @typedef {object} Plateau
 * @property {number} t0_s
 * @property {number} t1_s
 * @property {number} level_um
 * @property {"high" | "low"} side
 * @property {boolean} used
 * @property {string} why why it is not used
 *
 * @typedef {object} Sweep
 * @property {number | null} place
 * @property {string} valve
 * @property {string} direction
 * @property {string} gauge
 * @property {boolean} running
 * @property {string} unit
 * @property {[number, number][]} points seconds and micrometres, oldest first
 * @property {Plateau[]} plateaus
 * @property {number | null} travel_um
 * @property {number | null} travel_u_um
 * @property {string} factor travel divided by clearance
 * @property {number | null} clearance_um
 * @property {number | null} clearance_u_um
 * @property {number | null} limit_um
 * @property {"travel" | "clearance"} limit_of
 * @property {string} limit_words
 * @property {VerdictWord | null} verdict
 * @property {string} lift
 * @property {string} valve_used
 * @property {number} full_rocks
 * @property {boolean | null} usable
 * @property {{code: string, words: string}[]} flags
 * @property {string[]} words
 *
 * @typedef {object} Gauge
 * @property {string} id
 * @property {string} kind
 * @property {string} title
 * @property {string} serial
 * @property {string} driver
 * @property {string} port
 * @property {"here" | "lost" | "back, confirm the position" | "check the zero" | "battery low"} state
 * @property {string} link how much of what comes is noise, if any is
 * @property {string} text
 * @property {string} unit
 * @property {string} u_text
 * @property {string} calibration_due
 *
 * @typedef {object} Job
 * @property {string} name
 * @property {string} head
 * @property {string} serial
 * @property {string} sheet
 * @property {string} source
 * @property {string} stage
 * @property {string} operator
 * @property {string} bench
 * @property {boolean} invented
 * @property {string} started
 *
 * @typedef {"open" | "measuring" | VerdictWord | "skipped"} ValveState
 *
 * @typedef {object} Valve
 * @property {string} name
 * @property {number} cylinder
 * @property {string} kind
 * @property {ValveState} state
 * @property {number} done
 * @property {number} of
 * @property {Verdict | null} worst
 *
 * @typedef {object} FacePoint
 * @property {string} station
 * @property {number} x_mm
 * @property {number} y_mm
 * @property {number | null} value_um
 *
 * @typedef {object} Head
 * @property {number} cylinders
 * @property {string[]} kinds
 * @property {{length_mm: number, width_mm: number, points: FacePoint[]} | null} face
 * @property {Valve[]} valves
 *
 * @typedef {"stem" | "guide" | "rock" | "stand-down" | "spring" | "face" | "other"} Part
 *
 * @typedef {object} Next
 * @property {number} step
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {string} station
 * @property {string} direction
 * @property {string} gauge
 * @property {string} gauge_kind
 * @property {boolean} own_button  the gauge sends at its own button only
 * @property {boolean} sweep
 * @property {Part} part
 * @property {string} words
 * @property {string} limit_words
 * @property {number | null} lower_mm
 * @property {number | null} upper_mm
 * @property {string} again why it is asked once more
 * @property {string} expected what it should read after work, in words; empty where no work touched it
 *
 * @typedef {object} Foretold a reading that was taken after work, beside what was foretold
 * @property {number} place the reading's place in the record
 * @property {string | null} valve
 * @property {string} characteristic
 * @property {string} station
 * @property {string} direction
 * @property {string} before
 * @property {string} work
 * @property {string} expected
 * @property {string} u_text
 * @property {string} found
 * @property {string} difference
 * @property {"as foretold" | "surprise" | "not foretold"} word
 * @property {string} words the surprise as a sentence; else why nothing was foretold
 * @property {string} answer what has explained a surprise; empty: nothing yet
 * @property {string[]} meanings what a surprise can mean
 *
 * @typedef {object} Live
 * @property {string} gauge
 * @property {string} text
 * @property {string} unit
 * @property {string} mode
 *
 * @typedef {object} Message
 * @property {"note" | "warning"} level
 * @property {string} words
 * @property {string} utc
 *
 * @typedef {object} Doubt the value that came last for the step asked for looks like a slip
 * @property {number} place its place in the record; it lies in the tray
 * @property {number} step the step that it was sent for
 * @property {string} code the kind of slip
 * @property {string} words what it looks like and what to do, to be read after "This"
 *
 * @typedef {object} Operation work that makes earlier readings stale
 * @property {string} name
 * @property {"valves" | "head" | "gauge"} concerns
 * @property {"" | "seat" | "valve face" | "tip" | "head face" | "shims"} depth what a depth told with it was taken off, or
 *     that the shims are thicker by; empty: none is asked for
 * @property {{name: string, valves: string[]}[]} sizes oversizes that may be told with it
 * @property {string} untold what size a part is of where neither dialog nor work order says
 *
 * @typedef {object} State
 * @property {number} version
 * @property {Job} job
 * @property {Head} head
 * @property {{done: number, of: number, skipped: number}} progress
 * @property {Next | null} next
 * @property {Doubt | null} question
 * @property {Live | null} live
 * @property {Gauge[]} gauges
 * @property {Reading | null} last
 * @property {Reading[]} readings newest first
 * @property {Reading[]} tray the newest of it, oldest first
 * @property {Foretold[]} forecast oldest first
 * @property {number} tray_count
 * @property {import("../decide/order-types.js").Order | null} order
 * @property {Verdict[]} verdicts
 * @property {Fault[]} faults
 * @property {Decider[]} deciders
 * @property {Sweep | null} sweep
 * @property {Message[]} messages newest first
 * @property {{size: number, root: string, log: string}} record
 * @property {Operation[]} operations everything that can be done to a head
 * @property {boolean} watching  values at rest are taken and sweeps start by motion
 * @property {boolean} finished
 * @property {import("../decide/release-types.js").Release} release
 *
 * @typedef {object} Advice the cheapest plan for the head, in finished words
 * @property {string | null} cost null where nothing works
 * @property {string} standing how good it is, and whether it is partial
 * @property {string[]} conflict limits that cannot be kept together
 * @property {string} conflict_words what is proved of them; empty where there are none
 * @property {string} key what this plan is known by
 * @property {{operation: string, done: string, valves: string[], words: string, depth: string, why: string}[]} lines in the order of the trade
 * @property {{valve: string, words: string}[]} valves
 * @property {string[]} untouched
 * @property {string[]} parts
 * @property {{what: string, words: string}[]} remeasure
 * @property {string[]} missing
 * @property {{cost: string, more: string, differs: string[]}[]} alternatives
 * @property {string} more_words that there may be more of them; empty where there are not
 * @property {string[]} cautions
 * @property {string[]} left_out
 * @property {string[]} together what valves and cylinders have in common after the work
 * @property {string[]} barred what stands against the head, whatever is done by the plan
 *
 * @typedef {object} Trial what one step would do at one valve
 * @property {string} valve
 * @property {string} step
 * @property {number} depth_mm
 * @property {number} most_mm how deep it may be tried
 * @property {string} cost of the step with its part; empty where the shop does not offer it
 * @property {{name: string, before: string, after: string, moved: string, stays: boolean, scale: Scale}[]} figures
 * @property {string[]} broken limits that are no longer kept
 * @property {string[]} mended limits that are kept from now on
 * @property {string[]} beyond every limit that is not kept then
 * @property {string[]} cannot why shop or maker cannot do it so
 * @property {string[]} then what else has to follow
 * @property {string[]} unmeasured figures whose limits nobody can tell
 * @property {{step: string, words: string}[]} left
 *
 * @typedef {object} Answer what POST /act says
 * @property {boolean} ok
 * @property {string} words
 *
 * @typedef {{do: string} & Record<string, string | number | boolean | string[] | number[] | [string, number][]>} Action
 */

export {};
