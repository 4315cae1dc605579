/**
 * What will happen, in order: of two things at one moment the one that was planned first
 * comes first, so that a run is the same every time.
 */
export class Events {
  #heap = [];
  #planned = 0;

  /** @returns {number} Cycle of the next event; Infinity when there is none. */
  get nextCycle() {
    return this.#heap.length === 0 ? Infinity : this.#heap[0].cycle;
  }

  /**
   * @param {number} cycle When.
   * @param {() => void} act What.
   */
  plan(cycle, act) {
    const heap = this.#heap;
    heap.push({ cycle, order: this.#planned++, act });
    let at = heap.length - 1;
    while (at > 0) {
      const parent = (at - 1) >> 1;
      if (!isBefore(heap[at], heap[parent])) break;
      [heap[at], heap[parent]] = [heap[parent], heap[at]];
      at = parent;
    }
  }

  /** Forgets everything. */
  clear() {
    this.#heap = [];
  }

  /**
   * Lets everything happen that is due; an event may plan further ones.
   * @param {() => number} now The cycle it is.
   */
  fireDue(now) {
    while (this.nextCycle <= now()) this.#pop().act();
  }

  #pop() {
    const heap = this.#heap;
    const first = heap[0];
    const last = heap.pop();
    if (heap.length > 0) {
      heap[0] = last;
      let at = 0;
      for (;;) {
        let least = at;
        for (const child of [2 * at + 1, 2 * at + 2]) {
          if (child < heap.length && isBefore(heap[child], heap[least])) least = child;
        }
        if (least === at) break;
        [heap[at], heap[least]] = [heap[least], heap[at]];
        at = least;
      }
    }
    return first;
  }
}

function isBefore(a, b) {
  return a.cycle < b.cycle || (a.cycle === b.cycle && a.order < b.order);
}
