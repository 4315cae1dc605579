import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Display } from '../oled.mjs';

function commands(display, ...bytes) {
  transfer(display, 0x00, ...bytes);
}

function transfer(display, ...bytes) {
  assert.ok(display.select());
  for (const byte of bytes) assert.ok(display.write(byte));
  display.stop();
}

/** Woken as the image's driver does it, and cleared. */
function woken() {
  const display = new Display(1);
  commands(display, 0xae, 0x8d, 0x14, 0x20, 0x02, 0xa1, 0xc8);
  for (let page = 0; page < 8; page++) {
    commands(display, 0xb0 | page, 0x00, 0x10);
    transfer(display, 0x40, ...Array(128).fill(0));
  }
  commands(display, 0xaf);
  return display;
}

test('it is dark at power-up, whatever its memory holds', () => {
  const display = new Display(1);
  assert.equal(display.text(), '\n'.repeat(32));
  commands(display, 0xaf);
  assert.equal(display.text(), '\n'.repeat(32), 'on, but without its charge pump');
  commands(display, 0x8d, 0x14);
  assert.match(display.text(), /[▀▄█]/, 'noise');
});

test('page addressing: bytes go to the columns of one page and wrap in it', () => {
  const display = woken();
  commands(display, 0xb1, 0x0f, 0x17);
  transfer(display, 0x40, 0x01, 0x03);
  const lines = display.text().split('\n');
  assert.equal(lines[4], '█' + ' '.repeat(126) + '▀');
  assert.equal(lines.filter((line) => line).length, 1);
});

test('horizontal addressing fills a window, row by row', () => {
  const display = woken();
  commands(display, 0x20, 0x00, 0x21, 10, 11, 0x22, 2, 3);
  transfer(display, 0x40, 0xff, 0xff, 0x01, 0x01);
  const lines = display.text().split('\n');
  assert.deepEqual(lines.slice(8, 13), [
    ...Array(4).fill(' '.repeat(10) + '██'),
    ' '.repeat(10) + '▀▀',
  ]);
});

test('Co set: one byte, then a control byte again', () => {
  const display = woken();
  transfer(display, 0x80, 0xb0, 0x80, 0x00, 0x80, 0x10, 0x40, 0x01);
  assert.ok(display.pixel(0, 0));
});

test('off is dark, on again is the same picture; inverse and all on', () => {
  const display = woken();
  commands(display, 0xb0, 0x00, 0x10);
  transfer(display, 0x40, 0x01);
  const picture = display.text();
  commands(display, 0xae);
  assert.equal(display.text(), '\n'.repeat(32));
  commands(display, 0xaf);
  assert.equal(display.text(), picture);
  commands(display, 0xa7);
  assert.deepEqual([display.pixel(0, 0), display.pixel(1, 0)], [false, true]);
  commands(display, 0xa6, 0xa5);
  assert.ok(display.pixel(5, 5));
});

test('unknown and unfinished commands are noted', () => {
  const display = woken();
  commands(display, 0xf0);
  commands(display, 0x81);
  assert.deepEqual(display.unknownCommands, [0xf0, 0x81]);
  assert.equal(display.settings.contrast, 0x7f);
});

test('a missing display answers nothing', () => {
  const display = new Display(1);
  display.isMissing = true;
  assert.ok(!display.select());
});
