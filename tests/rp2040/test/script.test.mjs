import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Events } from '../events.mjs';
import { parseScript } from '../script.mjs';

test('a script is its changes, without comments', () => {
  const text =
    '# a day\n\n0 power 1\n10.5 shaft 1\n10.5 needle_mv 4200\n20 say state all\n30 fault sda_low 9\n31 fault hardfault\n';
  assert.deepEqual(parseScript(text), [
    { at_us: 0, signal: 'power', value: '1' },
    { at_us: 10.5, signal: 'shaft', value: '1' },
    { at_us: 10.5, signal: 'needle_mv', value: '4200' },
    { at_us: 20, signal: 'say', value: 'state all' },
    { at_us: 30, signal: 'fault', value: 'sda_low 9' },
    { at_us: 31, signal: 'fault', value: 'hardfault' },
  ]);
});

test('what is wrong is named with its line', () => {
  for (const [text, message] of [
    ['0 shaft 2', /line 1: shaft is 0 or 1/],
    ['0 shaft', /line 1/],
    ['\n0 shatf 1', /line 2: no signal "shatf"/],
    ['5 shaft 1\n4 shaft 0', /line 2: earlier/],
    ['0 fault fire 1', /no fault "fire"/],
    ['0 fault sda_low x', /sda_low does not take "x"/],
    ['soon shaft 1', /line 1: not/],
    ['0 say', /nothing to say/],
  ]) {
    assert.throws(() => parseScript(text), message, text);
  }
});

test('events come in order of time, then of planning, also those that events plan', () => {
  const events = new Events();
  const seen = [];
  const time = { cycle: 0 };
  for (const [cycle, name] of [
    [30, 'c'],
    [10, 'a'],
    [20, 'b1'],
    [20, 'b2'],
    [5, 'first'],
  ]) {
    events.plan(cycle, () => seen.push(name));
  }
  events.plan(10, () => events.plan(15, () => seen.push('planned')));
  time.cycle = 20;
  events.fireDue(() => time.cycle);
  assert.deepEqual(seen, ['first', 'a', 'planned', 'b1', 'b2']);
  assert.equal(events.nextCycle, 30);
});
