/**
 * A MIDI keyboard through the browser: the messages of notes, and the keyboards that are there.
 * Bytes as in MIDI 1.0: status 0x9n note on (velocity 0 is a note off), 0x8n note off, on any of 16 channels.
 */

const NOTE_OFF = 0x80;
const NOTE_ON = 0x90;
const CONTROL = 0xb0;
const PEDALS = [64, 66, 67];

/**
 * @param {Uint8Array | number[]} bytes one MIDI message
 * @returns {{kind: "on" | "off", pitch: number, velocity: number} | null} null for anything but a note
 */
export function readNote(bytes) {
  if (bytes.length < 3) return null;
  const status = bytes[0] & 0xf0;
  const [, pitch, velocity] = bytes;
  if (pitch > 127 || velocity > 127) return null;
  if (status === NOTE_ON && velocity > 0) return { kind: "on", pitch, velocity };
  if (status === NOTE_ON || status === NOTE_OFF) return { kind: "off", pitch, velocity };
  return null;
}

/**
 * A pedal: sustain, sostenuto or soft (controllers 64, 66, 67 of MIDI 1.0; from 64 on it is down).
 * @param {Uint8Array | number[]} bytes one MIDI message
 * @returns {{kind: "down" | "up", controller: number} | null}
 */
export function readPedal(bytes) {
  const [status, controller, value] = bytes;
  if (bytes.length < 3 || (status & 0xf0) !== CONTROL || !PEDALS.includes(controller)) return null;
  return { kind: value >= 64 ? "down" : "up", controller };
}

/**
 * Ask for the keyboards and listen to all of them, those plugged in later too.
 * @param {Navigator} navigator
 * @param {(note: NonNullable<ReturnType<typeof readNote>>, timeStamp: number) => void} onNote
 * @param {(names: string[]) => void} onNames told now and whenever a keyboard comes or goes
 * @param {(pedal: NonNullable<ReturnType<typeof readPedal>>) => void} onPedal
 * @returns {Promise<() => void>} stops listening; rejects with a sentence where it cannot be had
 */
export async function listenToMidi(navigator, onNote, onNames, onPedal = () => {}) {
  if (!navigator.requestMIDIAccess) {
    throw new Error("This browser knows no MIDI keyboards; use one that does, or the computer's own keys.");
  }
  let access;
  try {
    access = await navigator.requestMIDIAccess({ sysex: false });
  } catch {
    throw new Error("The browser was told not to give out MIDI keyboards; allow it beside the address, then press again.");
  }
  const take = ({ data, timeStamp }) => {
    const note = readNote(data);
    if (note) onNote(note, timeStamp);
    const pedal = readPedal(data);
    if (pedal) onPedal(pedal);
  };
  const attach = () => {
    const inputs = [...access.inputs.values()].filter((input) => input.state !== "disconnected");
    for (const input of inputs) input.onmidimessage = take;
    onNames(inputs.map((input) => input.name || "a keyboard without a name"));
  };
  access.onstatechange = attach;
  attach();
  return () => {
    access.onstatechange = null;
    for (const input of access.inputs.values()) input.onmidimessage = null;
  };
}
