/** Where in the song the ear is: the worklet's reports, counted on by the audio clock. */

const KEPT = 200;

/** The reports of the last seconds. Times are the context's, in seconds; places are the guide's. */
export class Place {
  constructor() {
    this.reports = [];
    this.loop = null;
  }

  /** @param {{time: number, place_s: number, speed: number, moving: boolean}} report */
  add(report) {
    this.reports.push(report);
    if (this.reports.length > KEPT) this.reports.splice(0, KEPT / 2);
  }

  /** Forget all, and stand at a place. */
  stand(place_s) {
    this.reports = [{ time: -Infinity, place_s, speed: 1, moving: false }];
  }

  /**
   * The place heard at a time; what was reported for later is not heard yet.
   * @param {number} time
   * @returns {number} seconds of the guide
   */
  at(time) {
    if (!this.reports.length) return 0;
    const report = this.reports.findLast((one) => one.time <= time) ?? this.reports[0];
    if (!report.moving || !Number.isFinite(report.time)) return report.place_s;
    const place = report.place_s + Math.max(0, time - report.time) * report.speed;
    const { loop } = this;
    if (!loop || report.place_s >= loop.end_s || place < loop.end_s) return place;
    return loop.start_s + ((place - loop.end_s) % (loop.end_s - loop.start_s));
  }
}

/**
 * The context's time of what reaches the ear now, as well as the browser knows it.
 * @param {AudioContext} context
 * @param {number} now performance.now()
 */
export function heardTime(context, now) {
  const plain = context.currentTime - (context.outputLatency || context.baseLatency || 0);
  const stamp = context.getOutputTimestamp?.();
  if (!stamp?.performanceTime) return plain;
  const smooth = stamp.contextTime + (now - stamp.performanceTime) / 1000;
  return Math.abs(smooth - plain) < 0.5 ? smooth : plain;
}
