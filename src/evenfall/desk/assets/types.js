/**
 * What the desk tells its windows.
 *
 * @typedef {{key: string, kind: string, text: string, label: string, value: number, from: string}} Figure
 * @typedef {{lights: string[], spans: (string | Figure)[]}} Clause
 * @typedef {{kind: "own" | "taken" | "rest" | "camera" | "look", lead: string, clauses: Clause[]}} Sentence
 * @typedef {{name: string, title: string, hour: string, sentences: Sentence[]}} Mood
 * @typedef {{theirs: string[], ours: string[], fault: string}} Conflict
 * @typedef {{tell: "state", version: number, project: string, view: string, file: string,
 *            moods: Mood[], lights: Record<string, string>, unsaved: boolean, undoes: string,
 *            redoes: string, fault: string, conflict: Conflict | null}} State
 * @typedef {{number: number, place: string, mood: string, of: string, version: number, size: string,
 *            width: number, height: number, fault: string}} Head
 * @typedef {{tell: string, [key: string]: any}} Told
 */
export {};
