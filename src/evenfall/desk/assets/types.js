/**
 * What the desk tells its windows.
 *
 * @typedef {{key: string, kind: string, text: string, label: string, value: number, from: string,
 *            area: number[]}} Figure
 * @typedef {{lights: string[], spans: (string | Figure)[]}} Clause
 * @typedef {{kind: "own" | "taken" | "rest" | "camera" | "look" | "aims", lead: string, clauses: Clause[]}} Sentence
 * @typedef {{name: string, title: string, hour: string, sentences: Sentence[]}} Mood
 * @typedef {{theirs: string[], ours: string[], fault: string}} Conflict
 * @typedef {{tell: "state", version: number, project: string, view: string, file: string,
 *            moods: Mood[], lights: Record<string, string>, example: string, unsaved: boolean, undoes: string,
 *            redoes: string, fault: string, conflict: Conflict | null,
 *            rounds: {number: number, asked: string[]}[]}} State
 * @typedef {{number: number, place: string, mood: string, of: string, version: number, size: string,
 *            width: number, height: number, fault: string}} Head
 * @typedef {{light: string, title: string, share: number, rise: number}} LightAt
 * @typedef {{tell: "spot", number: number, mood: string, x: number, y: number, stops: number | null,
 *            clipped: number, lights: LightAt[], notes: string[]}} Spot
 * @typedef {{tell: "noise", mood: string,
 *            lights: {title: string, stops: number, burns: boolean, share: number}[]}} Noise
 * @typedef {{tell: "scale", darkest: number, brightest: number, colours: number[][]}} Scale
 * @typedef {{tell: string, [key: string]: any}} Told
 */
export {};
