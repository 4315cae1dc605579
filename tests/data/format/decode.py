#!/usr/bin/env python3
"""Decodes images of a Shaftbook memory part, from docs/FORMAT.md alone.

    python3 decode.py [--page-bytes N] [--board HEX] IMAGE...

Prints a JSON list with an object an image: what is recovered, and what is damaged. It
shares no code with the firmware, on purpose: a test compares the two. Section numbers
in the comments are those of docs/FORMAT.md. Standard library only. The board's key is
never printed.
"""

import argparse
import json
import sys

LAPS = 1 << 21
NUMBERS = 1 << 20
VERSION = 2
CHECKPOINT, ENTRY, SNAPSHOT = 1, 2, 3
NOT_FITTED, FOREIGN, UNREADABLE = 4, 5, 6


def crc_table():
    """CRC-32C, reflected: 0x82F63B78 is 0x1EDC6F41 with its bits reversed."""
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (0x82F63B78 if byte & 1 else 0)
        table.append(byte)
    return table


CRC_TABLE = crc_table()


def crc_32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc = crc >> 8 ^ CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc ^ 0xFFFFFFFF


assert crc_32c(b"123456789") == 0xE3069283


def field(record, bit, width):
    """Section 2: a record is one little-endian number."""
    return int.from_bytes(record, "little") >> bit & (1 << width) - 1


def number(data, at, width):
    return int.from_bytes(data[at : at + width], "little")


class Lost(Exception):
    """A snapshot that cannot be used."""


class Another(Exception):
    """A snapshot that is whole, and is not the one that was named."""

    def __init__(self, binding):
        super().__init__(binding)
        self.binding = binding


class Part:
    """Slots and frames: sections 1 and 2."""

    def __init__(self, data, page_bytes):
        self.slot_bytes = max(64, page_bytes)
        self.slots = len(data) // self.slot_bytes
        self.records = [
            data[s * self.slot_bytes : s * self.slot_bytes + 64] for s in range(self.slots)
        ]

    def fits(self, board, slot):
        """(kind, lap) if the record counts for this board, else None."""
        record = self.records[slot]
        kind = field(record, 0, 3)
        if kind not in (CHECKPOINT, ENTRY, SNAPSHOT):
            return None
        data = board.to_bytes(8, "little") + slot.to_bytes(2, "little") + record[:60]
        if crc_32c(data) != number(record, 60, 4):
            return None
        return kind, field(record, 3, 21)

    def boards(self):
        """Identities that stand in first members and are believed, with their headers."""
        named = set()
        for slot, record in enumerate(self.records):
            hint = self.member_hint(slot)
            data = record[5:60] if hint and hint[0] == 0 else self.lost_first(slot)
            if data and data[0] == VERSION:
                named.add(number(data, 1, 8))
        found = {}
        for board in sorted(named):
            headers = [self.fits(board, slot) for slot in range(self.slots)]
            if any(headers):
                found[board] = headers
        return found

    def member_hint(self, slot):
        """(index, count, mark) of what looks like a snapshot member, its CRC not checked."""
        record = self.records[slot]
        index, count = field(record, 24, 5), field(record, 32, 5)
        mark = field(record, 29, 3) | field(record, 37, 3) << 3
        good = field(record, 0, 3) == SNAPSHOT and 4 <= count <= 23 and index <= count
        return (index, count, mark) if good else None

    def lost_first(self, slot):
        """Bytes 5 to 59 of member 0, made good from the parity in this slot."""
        hint = self.member_hint(slot)
        if not hint or hint[0] != hint[1]:
            return None
        _, count, mark = hint
        total, wanted = self.records[slot][5:60], count - 1
        for back in range(1, min(72, self.slots)):
            at = (slot - back) % self.slots
            if wanted >= 1 and self.member_hint(at) == (wanted, count, mark):
                total = bytes(a ^ b for a, b in zip(total, self.records[at][5:60]))
                wanted -= 1
        return total if wanted == 0 else None

    def owner(self, found):
        """The board that wrote last: the most of the eight lowest slots with a record."""
        firsts = []
        for slot in range(self.slots):
            firsts += [board for board in found if found[board][slot]][:1]
        firsts = firsts[:8]
        return max(firsts, key=lambda board: (firsts.count(board), -firsts.index(board)))


def measures(record):
    """Section 3."""
    at = 54
    delta = {
        "powered_ms": field(record, at, 25),
        "running_ms": field(record, at + 25, 24),
        "trims": field(record, at + 49, 12),
        "power_ups": field(record, at + 61, 9),
        "unattributed_stitches": field(record, at + 70, 16),
    }
    delta["needle_stitches"] = [field(record, at + 86 + 16 * k, 16) for k in range(16)]
    delta.update(jumps=0, glitches=0, missed_edges=0, unattributed_breaks=0)
    delta["needle_breaks"] = [0] * 16
    return delta


def checkpoint(record):
    """Section 4."""
    delta = measures(record)
    delta["jumps"] = field(record, 396, 16)
    delta["glitches"] = field(record, 412, 16)
    delta["missed_edges"] = field(record, 428, 8)
    breaks, ones = [], 0
    for bit in range(436, 480):
        if field(record, bit, 1):
            ones += 1
        else:
            breaks.append(ones)
            ones = 0
    breaks = (breaks + [ones] + [0] * 17)[:17]
    delta["needle_breaks"], delta["unattributed_breaks"] = breaks[:16], breaks[16]
    return {
        "base": field(record, 24, 10),
        "binding": field(record, 34, 10),
        "entry": field(record, 44, 10),
        "delta": delta,
    }


def entry(record):
    """Section 5; None for an event that is not known."""
    found = {
        "base": field(record, 24, 10),
        "binding": field(record, 34, 10),
        "previous": field(record, 44, 10),
        "delta": measures(record),
        "number": field(record, 396, 20),
        "event": field(record, 416, 4),
        "subject": field(record, 420, 10),
        "renewed": field(record, 430, 32),
        "day": field(record, 462, 16) or None,
    }
    return found if 1 <= found["event"] <= 6 else None


def same_entry(a, b):
    return all(a[key] == b[key] for key in a if key not in ("base", "binding", "previous"))


def same_snapshot(a, b):
    """Whether two records add to the same snapshot: section 4.1."""
    return (a["base"], a["binding"]) == (b["base"], b["binding"])


def binding(stream):
    """Section 4.1: of the first four members."""
    return crc_32c(stream[:220]) & 0x3FF


def combine(a, b, how):
    return {
        key: [how(x, y) for x, y in zip(a[key], b[key])]
        if isinstance(a[key], list)
        else how(a[key], b[key])
        for key in a
    }


def plus(a, b):
    return combine(a, b, lambda x, y: x + y)


def stream_counters(stream):
    """Section 6, offsets 9 to 180."""
    return {
        "powered_ms": number(stream, 9, 6),
        "running_ms": number(stream, 15, 6),
        "unattributed_stitches": number(stream, 21, 5),
        "needle_stitches": [number(stream, 26 + 5 * k, 5) for k in range(16)],
        "jumps": number(stream, 106, 5),
        "trims": number(stream, 111, 5),
        "unattributed_breaks": number(stream, 116, 4),
        "needle_breaks": [number(stream, 120 + 3 * k, 3) for k in range(16)],
        "power_ups": number(stream, 168, 4),
        "glitches": number(stream, 172, 4),
        "missed_edges": number(stream, 176, 4),
    }


def known_measure(code):
    return code <= 5 or 16 <= code <= 31


def stream_ledger(stream):
    """Section 6, from offset 184 on."""
    if stream[0] != VERSION:
        raise Lost("version")
    ledger = {
        "pulses_per_revolution": stream[184],
        "speed": number(stream, 185, 2),
        "shaft_debounce": number(stream, 187, 2),
        "run_gap": number(stream, 191, 2),
        "needles": stream[193],
        "needle_source": stream[194],
        "guard": number(stream, 196, 2),
        "hysteresis": number(stream, 198, 2),
        "checkpoint_running_s": stream[200],
        "checkpoint_trims": stream[201],
        "checkpoint_powered_s": number(stream, 202, 2),
        "measure": "running" if stream[204] & 0xF == 1 else "powered",
        "limit_h": number(stream, 205, 2),
        "levels": [number(stream, 207 + 2 * k, 2) for k in range(16)],
        "stated": {
            "hours": number(stream, 239, 4),
            "stitches": number(stream, 243, 6),
            "trims": number(stream, 249, 4),
        },
        # Offset 253, 32 bytes: the key. Not decoded.
        "interval": {"powered": number(stream, 285, 6), "running": number(stream, 291, 6)},
        "services": number(stream, 297, 2),
        "tries": stream[299],
        "next_entry": number(stream, 300, 3),
    }
    check_settings(ledger)
    at = 303

    def take(width):
        nonlocal at
        if at + width > len(stream):
            raise Lost("too short")
        at += width
        return number(stream, at - width, width)

    def counted(most):
        count = take(1)
        if count > most:
            raise Lost("list too long")
        return range(count)

    ledger["components"] = []
    for place in counted(32):
        kind, measure, flags = take(1), take(1), take(1)
        if not known_measure(measure):
            raise Lost("measure")
        ledger["components"].append(
            {
                "place": place,
                "kind": kind,
                "measure_code": measure,
                "renewed_by": "engineer" if flags & 1 else "operator",
                "with_service": bool(flags & 2),
                "notice": take(4),
                "due": take(4),
                "baseline": take(6),
            }
        )
    ledger["retired"] = [take(2) for _ in counted(64)]
    ledger["journal"] = []
    for _ in counted(16):
        line = {"number": take(3) % NUMBERS, "event": take(1), "subject": take(2)}
        line.update(powered_s=take(4), day=take(2) or None)
        if not 1 <= line["event"] <= 6:
            raise Lost("event")
        ledger["journal"].append(line)
    if crc_32c(stream[220:at]) != number(stream, 180, 4):
        raise Lost("check over the rest")
    return ledger


def check_settings(s):
    levels = s["levels"][: s["needles"]]
    apart = 2 * s["guard"] + s["hysteresis"]
    good = (
        1 <= s["pulses_per_revolution"] <= 64
        and 60 <= s["speed"] <= 4_000
        and 4 * s["shaft_debounce"] * s["speed"] * s["pulses_per_revolution"] <= 60_000_000
        and 100 <= s["run_gap"] <= 60_000
        and 1 <= s["needles"] <= 16
        and s["needle_source"] <= 2
        and 1 <= s["checkpoint_running_s"] <= 60
        and 1_000 * s["checkpoint_running_s"] >= s["run_gap"] + 1_000
        and s["checkpoint_trims"] >= 1
        and 1 <= s["checkpoint_powered_s"] <= 3_600
        and s["limit_h"] >= 1
    )
    if s["needle_source"] == 2:
        for n, level in enumerate(levels):
            good = good and all(abs(level - other) > apart for other in levels[n + 1 :])
    if not good:
        raise Lost("settings")


def measure_value(code, counters, day):
    """Section 7, measures."""
    if code == 0:
        return counters["powered_ms"]
    if code == 1:
        return counters["running_ms"]
    if code == 2:
        return counters["unattributed_stitches"] + sum(counters["needle_stitches"])
    if code == 3:
        return counters["trims"]
    if code == 4:
        return counters["power_ups"]
    if code == 5:
        return day or 0
    return counters["needle_stitches"][code - 16]


class Reader:
    """Section 8: one board's records on a part."""

    def __init__(self, part, headers):
        self.part, self.headers = part, headers
        self.slots = part.slots
        self.only_members = True
        self.newest = None
        for slot, header in enumerate(headers):
            if header and (self.newest is None or self.is_after((header[1], slot), self.newest)):
                self.newest = (header[1], slot)

    @staticmethod
    def is_after(a, b):
        """Section 8.1; a place is (lap, slot)."""
        if a[0] == b[0]:
            return a[1] > b[1]
        return 1 <= (a[0] - b[0]) % LAPS <= (1 << 20) - 1

    @staticmethod
    def last_written(slot, newest):
        lap, newest_slot = newest
        return (lap if slot <= newest_slot else (lap - 1) % LAPS), slot

    def before(self, place):
        lap, slot = place
        return (lap, slot - 1) if slot > 0 else ((lap - 1) % LAPS, self.slots - 1)

    def after(self, place):
        lap, slot = place
        return (lap, slot + 1) if slot + 1 < self.slots else ((lap + 1) % LAPS, 0)

    def live(self, place):
        """The kind of the record at a place, if it is of that place's lap."""
        header = self.headers[place[1]]
        return header[0] if header and header[1] == place[0] else None

    def read(self):
        """The snapshot, delta and entry slot in use; None if there is none. Section 8.2."""
        tip, tip_place, unfinished, lost = None, None, [], []
        place = self.newest
        for _ in range(self.slots):
            kind, record = self.live(place), self.part.records[place[1]]
            if kind == SNAPSHOT and tip is None:
                unfinished.append(place[1])
            elif kind == ENTRY:
                self.only_members = False
                found = entry(record)
                if found and tip is None and found["base"] < self.slots:
                    tip, tip_place = found, place
                elif found and tip and tip["number"] == found["number"]:
                    if same_snapshot(tip, found):
                        tip_place = place
            elif kind == CHECKPOINT:
                self.only_members = False
                found = checkpoint(record)
                if found["base"] < self.slots:
                    break
            place = self.before(place)
        else:
            return None, lost
        start = dict(found, holder=place, unfinished=unfinished[::-1])
        if found["entry"] == found["base"] or found["entry"] >= self.slots:
            start["entry"] = None
        if tip:
            if same_snapshot(tip, found):
                start["delta"] = combine(found["delta"], tip["delta"], max)
            else:
                start.update(base=tip["base"], binding=tip["binding"], delta=tip["delta"], unfinished=[])
            start.update(entry=tip_place[1], holder=tip_place)
        kept = None
        while start:
            base = self.last_written(start["base"], start["holder"])
            try:
                self.snapshot(start, base)
                if kept:
                    start["lifetime"] = combine(start["lifetime"], kept, max)
                return start, lost
            except Lost:
                lost.append(start["base"])
                if "lifetime" in start:
                    kept = combine(kept or start["lifetime"], start["lifetime"], max)
                start = self.older(self.before(base), start["base"], None)
            except Another as other:
                lost.append(start["base"])
                # The record that names it may be what is wrong.
                place, may_be = (start["holder"], other.binding) if len(lost) == 1 else (base, None)
                start = self.older(self.before(place), start["base"], may_be)
        return None, lost

    def older(self, place, lost_base, may_be):
        for _ in range(self.slots):
            if self.live(place) == CHECKPOINT:
                found = checkpoint(self.part.records[place[1]])
                other = found["base"] != lost_base or found["binding"] == may_be
                if other and found["base"] < self.slots:
                    if found["entry"] == found["base"] or found["entry"] >= self.slots:
                        found["entry"] = None
                    return dict(found, holder=place, unfinished=[])
            place = self.before(place)
        return None

    def snapshot(self, start, base):
        """Section 8.3."""
        members, first, place = {}, None, base
        for _ in range(72):
            kind, hint = self.live(place), self.part.member_hint(place[1])
            if kind == SNAPSHOT and hint:
                first = first or hint[1:]
                if hint[1:] == first:
                    members[hint[0]] = self.part.records[place[1]][5:60]
                    if hint[0] == hint[1]:
                        break
            elif kind == CHECKPOINT:
                if checkpoint(self.part.records[place[1]])["base"] == start["base"]:
                    break
            if place == self.newest:
                break
            place = self.after(place)
        if first is None:
            raise Lost("no member")
        count = first[0]
        if all(index in members for index in range(4)) and members[0][0] == VERSION:
            firsts = b"".join(members[index] for index in range(4))
            if binding(firsts) == start["binding"]:
                start["lifetime"] = plus(stream_counters(firsts), start["delta"])
        missing = [index for index in range(count + 1) if index not in members]
        start["missing"] = missing
        if missing and missing != [count]:
            if len(missing) > 1:
                raise Lost("members missing")
            total = bytes(55)
            for member in members.values():
                total = bytes(a ^ b for a, b in zip(total, member))
            members[missing[0]] = total
        stream = b"".join(members[index] for index in range(count))
        start["ledger"] = stream_ledger(stream)
        if binding(stream) != start["binding"]:
            raise Another(binding(stream))
        start["counters"] = stream_counters(stream)
        start["lifetime"] = plus(start["counters"], start["delta"])

    def chain(self, start):
        """Section 8.4: the entries since the snapshot, oldest first."""
        entries, wanted, slot = [], None, start["entry"]
        while slot is not None:
            copies = []
            for reach in range(7):
                at = (slot + reach) % self.slots
                span = (self.newest[1] - start["base"]) % self.slots
                if (at - start["base"]) % self.slots > span:
                    continue
                if self.live(self.last_written(at, self.newest)) != ENTRY:
                    continue
                found = entry(self.part.records[at])
                if not found or not same_snapshot(found, start):
                    continue
                if wanted is not None and found["number"] != wanted:
                    continue
                if not copies or same_entry(copies[0], found):
                    copies.append(found)
            if not copies or len(entries) >= 40:
                return entries[::-1], slot
            found = copies[0]
            entries.append(dict(found, copies=len(copies)))
            wanted = (found["number"] - 1) % NUMBERS
            slot = found["previous"]
            if slot == found["base"] or slot >= self.slots:
                slot = None
        return entries[::-1], None


def apply(ledger, base, found):
    """Sections 7 and 8.4: one entry, oldest first."""
    at = plus(base, found["delta"])
    for component in ledger["components"]:
        if found["event"] in (1, 2) and found["renewed"] >> component["place"] & 1:
            component["baseline"] = measure_value(component["measure_code"], at, found["day"])
    if found["event"] == 2:
        ledger["services"] = min(ledger["services"] + 1, 65_535)
        ledger["interval"] = {"powered": at["powered_ms"], "running": at["running_ms"]}
        ledger["tries"] = 0
    elif found["event"] == 1 and found["subject"] == 1:
        ledger["tries"] = 0
    elif found["event"] == 3:
        ledger["retired"] = sorted({*ledger["retired"], found["subject"]})
    elif found["event"] == 4:
        ledger["tries"] = min(ledger["tries"] + 1, 255)
    ledger["next_entry"] = (found["number"] + 1) % NUMBERS
    line = {key: found[key] for key in ("number", "event", "subject", "day")}
    line["powered_s"] = min(at["powered_ms"] // 1_000, 0xFFFFFFFF)
    ledger["journal"] = (ledger["journal"] + [line])[-16:]


def components(ledger, counters):
    lines = []
    for component in ledger["components"]:
        code = component["measure_code"]
        wear = max(0, measure_value(code, counters, None) - component["baseline"])
        wear = wear // 1_000 if code <= 1 else wear
        if code == 5:
            wear, standing = 0, "no day"
        elif wear >= component["due"]:
            standing = "due"
        elif wear >= component["notice"]:
            standing = "notice"
        else:
            standing = "fine"
        lines.append(dict(component, wear=wear, standing=standing))
    return lines


def decode(data, page_bytes, board):
    part = Part(data, page_bytes)
    found = part.boards()
    if board is None and found:
        board = part.owner(found)
    result = {"slots": part.slots, "board": None, "fault": None, "lifetime": None}
    if board is None:
        blank = all(set(record) == {0xFF} for record in part.records)
        result["fault"] = {"number": NOT_FITTED if blank else UNREADABLE}
        return result
    headers = found.get(board) or [part.fits(board, slot) for slot in range(part.slots)]
    result["board"] = {"id": f"{board:016X}", "records": sum(1 for header in headers if header)}
    if not any(headers):
        result["board"]["records"] = 0
        blank = all(set(record) == {0xFF} for record in part.records)
        foreign = any(
            (header or [0])[0] == SNAPSHOT and (part.member_hint(slot) or [1])[0] == 0
            for other in found
            for slot, header in enumerate(found[other])
        )
        code = FOREIGN if foreign else NOT_FITTED if blank else UNREADABLE
        result["fault"] = {"number": code}
        return result
    reader = Reader(part, headers)
    start, lost = reader.read()
    if start is None:
        result["fault"] = {"number": NOT_FITTED if reader.only_members else UNREADABLE}
        return result
    ledger = start["ledger"]
    entries, gap = reader.chain(start)
    for one in entries:
        apply(ledger, start["counters"], one)
    counters = start["lifetime"]
    stitches = counters["unattributed_stitches"] + sum(counters["needle_stitches"])
    breaks = counters["unattributed_breaks"] + sum(counters["needle_breaks"])
    measure = ledger["measure"]
    result["lifetime"] = dict(counters, stitches=stitches, breaks=breaks)
    result["interval"] = {
        "measure": measure,
        "ms": max(0, counters[measure + "_ms"] - ledger["interval"][measure]),
        "limit_h": ledger["limit_h"],
        "services": ledger["services"],
        "tries": ledger["tries"],
    }
    result["carried_in_stated"] = ledger["stated"]
    result["wiring"] = {
        key: ledger[key]
        for key in ("pulses_per_revolution", "needles", "checkpoint_running_s", "checkpoint_trims")
    }
    result["components"] = components(ledger, counters)
    result["journal"] = ledger["journal"]
    result["retired"] = ledger["retired"]
    result["wear"] = {"newest_lap": reader.newest[0], "newest_slot": reader.newest[1]}
    result["damage"] = {
        "lost_snapshots": [{"base_slot": slot} for slot in lost],
        "snapshot": {"base_slot": start["base"], "missing": start["missing"]}
        if start["missing"]
        else None,
        "unfinished_snapshot": start["unfinished"],
        "single_copies": [one["number"] for one in entries if one["copies"] < 2],
        "journal_gap": gap,
    }
    return result


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--page-bytes", type=int, default=64, choices=(16, 32, 64, 128, 256))
    parser.add_argument("--board", type=lambda text: int(text, 16))
    parser.add_argument("images", nargs="+")
    args = parser.parse_args()
    results = []
    for name in args.images:
        with open(name, "rb") as file:
            data = file.read()
        step = max(128, args.page_bytes)
        if not 64 * step <= len(data) <= 65_536 or len(data) % step:
            sys.exit(f"{name}: {len(data)} bytes: no part has this size")
        results.append(decode(data, args.page_bytes, args.board))
    json.dump(results, sys.stdout)
    print()


if __name__ == "__main__":
    main()
