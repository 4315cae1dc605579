import assert from 'node:assert/strict';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, test } from 'node:test';
import { Elf } from '../elf.mjs';
import { flashOfUf2 } from '../image.mjs';
import { elfOf, uf2Of } from '../test_support/samples.mjs';

const folder = mkdtempSync(join(tmpdir(), 'rp2040-files-'));
after(() => rmSync(folder, { recursive: true }));

function file(name, bytes) {
  const path = join(folder, name);
  writeFileSync(path, bytes);
  return path;
}

const flash = Uint8Array.from({ length: 600 }, (_, n) => n * 7);

test('a UF2 gives the flash it was made of', () => {
  const found = flashOfUf2([file('good.uf2', uf2Of(flash))]);
  assert.deepEqual(found.subarray(0, 600), flash);
});

test('a second file is copied over the first', () => {
  const second = uf2Of(Uint8Array.of(1, 2));
  new DataView(second.buffer).setUint32(12, 0x10000400, true);
  const found = flashOfUf2([file('one.uf2', uf2Of(flash)), file('two.uf2', second)]);
  assert.deepEqual([...found.subarray(0x400, 0x402)], [1, 2]);
  assert.deepEqual(found.subarray(0, 600), flash);
  assert.equal(found[0x3ff], 0xff, 'erased between them');
});

test('a file that is no whole UF2 for this chip is refused', () => {
  const good = uf2Of(flash);
  assert.throws(() => flashOfUf2([file('short.uf2', good.subarray(0, 600))]), /not whole blocks/);
  assert.throws(() => flashOfUf2([file('empty.uf2', new Uint8Array(0))]), /not a UF2/);
  assert.throws(
    () => flashOfUf2([file('cut.uf2', good.subarray(0, 1_024))]),
    /3 blocks promised, 2 there/,
  );
  assert.throws(() => flashOfUf2([file('other.uf2', uf2Of(flash, 0x12345678))]), /another chip/);
  assert.throws(() => flashOfUf2([file('noise.uf2', new Uint8Array(512))]), /magic/);
  const far = good.slice();
  new DataView(far.buffer).setUint32(12, 0x20000000, true);
  assert.throws(() => flashOfUf2([file('far.uf2', far)]), /not in the flash/);
});

const symbols = [
  { name: '_stack_start', address: 0x20040000 },
  { name: 'main', address: 0x10000201, bytes: 8, isFunction: true },
  {
    name: '_ZN9shaftbook5store4save17h0123456789abcdefE',
    address: 0x10000301,
    bytes: 6,
    isFunction: true,
  },
  {
    name: '_ZN48_$LT$impl$u20$core..fmt..Debug$u20$for$u20$x$GT$3fmt17h0123456789abcdefE',
    address: 0x10000401,
    bytes: 6,
    isFunction: true,
  },
  {
    name: '_RNvMsa_NtCseold96UKqg_4core3fmtNtB5_9Formatter12pad_integral',
    address: 0x10000501,
    bytes: 6,
    isFunction: true,
  },
  { name: '$t', address: 0x10000200 },
];

test('an ELF gives symbols, places and the flash', () => {
  const elf = new Elf(elfOf(symbols, flash));
  assert.equal(elf.addressOf('_stack_start'), 0x20040000);
  assert.equal(elf.addressOf('main'), 0x10000200);
  assert.equal(elf.addressOf('shaftbook::store::save'), 0x10000300);
  assert.equal(elf.addressOf('core::fmt::Formatter::pad_integral'), 0x10000500);
  assert.equal(elf.placeOf(0x10000204), 'main+0x4');
  assert.equal(elf.placeOf(0x10000303), 'shaftbook::store::save+0x2');
  assert.match(elf.placeOf(0x10000402), /^<impl core::fmt::Debug for x>::fmt\+0x2$/);
  assert.equal(elf.placeOf(0x10000250), '0x10000250', 'between functions');
  assert.ok(!elf.symbols.has('$t'));
  assert.deepEqual(elf.flash(), flash);
});

test('what is no such ELF, and a symbol that is not there, are named', () => {
  assert.throws(() => Elf.read(file('bad.elf', new Uint8Array(100))), /bad\.elf: not a 32-bit/);
  assert.throws(() => new Elf(elfOf([], flash)).addressOf('main'), /no symbol "main"/);
});
