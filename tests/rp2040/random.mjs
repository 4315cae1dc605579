/**
 * Random numbers drawn from a seed: PCG32, the generator of the host's simulator
 * (crate `rand_pcg`), so that a seed means the same bytes on both sides.
 */

const MULTIPLIER = 6364136223846793005n;
const MASK_64 = (1n << 64n) - 1n;

/** PCG XSH RR 64/32 (M. O'Neill, 2014). */
export class Pcg32 {
  #state;
  #increment;

  /**
   * @param {number|bigint} seed Seed, 64 bits.
   * @param {number|bigint} stream Which of the generator's sequences.
   */
  constructor(seed, stream) {
    this.#increment = ((BigInt(stream) << 1n) | 1n) & MASK_64;
    this.#state = (BigInt(seed) + this.#increment) & MASK_64;
    this.#step();
  }

  #step() {
    this.#state = (this.#state * MULTIPLIER + this.#increment) & MASK_64;
  }

  /** @returns {number} The next 32 bits. */
  nextU32() {
    const state = this.#state;
    this.#step();
    const mixed = Number((((state >> 18n) ^ state) >> 27n) & 0xffffffffn);
    const turns = Number(state >> 59n);
    return ((mixed >>> turns) | (mixed << (-turns & 31))) >>> 0;
  }

  /** @returns {bigint} The next 64 bits, the low half drawn first. */
  nextU64() {
    const low = BigInt(this.nextU32());
    return (BigInt(this.nextU32()) << 32n) | low;
  }

  /**
   * Fills `bytes`, least significant byte of each draw first.
   * @param {Uint8Array} bytes
   */
  fill(bytes) {
    for (let at = 0; at < bytes.length; at += 4) {
      const draw = this.nextU32();
      for (let n = 0; n < 4 && at + n < bytes.length; n++) {
        bytes[at + n] = draw >>> (8 * n);
      }
    }
  }
}
