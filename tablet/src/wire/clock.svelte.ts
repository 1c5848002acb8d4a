/** The one ticking value of the page: everything that ages derives from it. */
class Clock {
  now = $state(Date.now());

  /** Begin to tick; returns how to stop. */
  start(): () => void {
    const timer = setInterval(() => (this.now = Date.now()), 1000);
    return () => clearInterval(timer);
  }
}

export const clock = new Clock();
