"""A linked thumbv6m program: sections, functions, calls, frames. For .ci/sizes, .ci/images.

Frames are those of the compiler (`-Z emit-stack-sizes`), for precompiled functions those
of their first instructions; calls are those of the disassembly. A call through a register
that was loaded from the literal pool (the compiler's short form of several calls of one
function) is a call like any other. Any other indirect call, recursion, and a frame that
cannot be read are errors.

Invariant: what cannot be followed is in `errors` or in a function's `indirect`, never
left out in silence. Not done here: building, limits.
"""

import bisect
import glob
import os
import re
import struct
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
TARGET = "thumbv6m-none-eabi"
# Names as the stable compiler gives them without asking: functions are placed by name.
STACK_SIZES = [
    "-Z", "emit-stack-sizes", "-Z", "unstable-options", "-C", "symbol-mangling-version=legacy",
]


def run(*command, **options):
    """Output of a command; ends the program when it fails."""
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, **options)
    if done.returncode != 0:
        sys.exit(f"{os.path.basename(sys.argv[0])}: failed: {' '.join(command)}")
    return done.stdout


def measuring():
    """Environment of a build that is measured.

    Stack sizes are an unstable output of the stable compiler: the same compiler that
    builds what is shipped, so the same frames. An incremental build is other code.
    """
    env = dict(os.environ, RUSTC_BOOTSTRAP="1", CARGO_INCREMENTAL="0")
    for name in ("RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "CARGO_TARGET_DIR"):
        env.pop(name, None)
    return env


def tool(name):
    """Path of one of rustup's llvm-tools."""
    sysroot = run("rustc", "--print", "sysroot", cwd=ROOT).strip()
    found = glob.glob(os.path.join(sysroot, "lib", "rustlib", "*", "bin", name))
    if not found:
        sys.exit(f"{name} not found; run: rustup component add llvm-tools")
    return found[0]


def registers(operands):
    """The registers of a list such as `{r4-r7, lr}`."""
    found = []
    for piece in operands[operands.index("{") + 1 : operands.index("}")].split(","):
        first, _, last = piece.strip().partition("-")
        found += [f"r{n}" for n in range(int(first[1:]), int(last[1:]) + 1)] if last else [first]
    return found


class Section:
    """One section: where it is in memory and in the file."""

    NOBITS, ALLOCATED = 8, 2

    def __init__(self, row):
        _, self.kind, flags, self.address, self.offset, self.size = row[:6]
        self.is_loaded = bool(flags & self.ALLOCATED)
        self.has_bytes = self.kind != self.NOBITS


class Elf:
    """Sections of a 32-bit little-endian ELF file."""

    def __init__(self, path):
        with open(path, "rb") as file:
            self.data = file.read()
        if self.data[:6] != b"\x7fELF\x01\x01":
            sys.exit(f"{os.path.basename(path)} is not a 32-bit little-endian ELF file")
        offset = struct.unpack_from("<I", self.data, 32)[0]
        size, count, names_index = struct.unpack_from("<HHH", self.data, 46)
        rows = [struct.unpack_from("<10I", self.data, offset + i * size) for i in range(count)]
        names = rows[names_index][4]
        self.sections = {}
        for row in rows:
            end = self.data.index(b"\0", names + row[0])
            self.sections[self.data[names + row[0] : end].decode()] = Section(row)

    def bytes_of(self, name):
        """Address and bytes of a section; empty when it is not there."""
        found = self.sections.get(name)
        if not found or not found.has_bytes:
            return 0, b""
        return found.address, self.data[found.offset : found.offset + found.size]

    def code_bytes(self):
        """Bytes of .text and .rodata."""
        return sum(len(self.bytes_of(name)[1]) for name in (".text", ".rodata"))

    def flash_bytes(self):
        """Bytes of everything that is flashed, first values of variables included."""
        return sum(s.size for s in self.sections.values() if s.is_loaded and s.has_bytes)

    def flashed(self):
        """What is flashed: name, address and bytes of each section."""
        names = (n for n, s in self.sections.items() if s.is_loaded and s.has_bytes)
        return {name: self.bytes_of(name) for name in names}

    def ram_bytes(self, ram_from):
        """Bytes of variables: those with first values, zeroed, and left alone."""
        loaded = (s for s in self.sections.values() if s.is_loaded)
        return sum(s.size for s in loaded if s.address >= ram_from)

    def words(self, name):
        """A section as words."""
        _, data = self.bytes_of(name)
        return struct.unpack(f"<{len(data) // 4}I", data[: len(data) // 4 * 4])


class Function:
    """One function of a program."""

    def __init__(self, address, name):
        self.address, self.name = address, name
        self.names = {name}
        self.size = 0
        self.calls, self.words, self.indirect = set(), {}, []
        # Registers that hold a word of the literal pool; calls through such a register.
        self.held, self.through_pool = {}, []
        self.lines = {}
        self.frame = None
        self.prologue = 0
        self.unreadable = False
        self.falls_through = True


# Rust's older mangling writes these for what a C++ name may not have.
ESCAPES = {
    "$LT$": "<", "$GT$": ">", "$RF$": "&", "$BP$": "*", "$LP$": "(", "$RP$": ")", "$C$": ",",
    "$u20$": " ", "$u27$": "'", "$u5b$": "[", "$u5d$": "]", "$u7b$": "{", "$u7d$": "}",
    "$u3b$": ";", "..": "::",
}


def shorten(name):
    """A demangled name to read: escapes of the older mangling undone, its hash and generic
    arguments that repeat on every line left out."""
    if re.search(r"::h[0-9a-f]{16}\b", name):
        name = re.sub(r"::h[0-9a-f]{16}\b", "", name)
        for escape, text in ESCAPES.items():
            name = name.replace(escape, text)
        name = re.sub(r"(^|::)_<", r"\1<", name)
    for noise in ("::<shaftbook_core::rules::Sound>", "<shaftbook_core::rules::Sound>"):
        name = name.replace(noise, "")
    return re.sub(r"shaftbook_(core|drivers)::", "", name)


class Program:
    """Functions, calls and frames of one linked program."""

    CONDITIONS = "eq|ne|cs|hs|cc|lo|mi|pl|vs|vc|hi|ls|ge|lt|gt|le"
    BRANCH = re.compile(rf"^(bl|b({CONDITIONS})?(\.n|\.w)?)$")
    # What the linker fills gaps in code with, 0xD4D4: a trap if it were reached.
    FILLER = re.compile(r"^bmi\t.*imm = #-0x58$")
    # First operand is read, not written.
    READING = {"cmp", "cmn", "tst", "str", "strb", "strh", "stm", "push", "bx", "blx", "msr"}

    def __init__(self, path):
        self.elf = Elf(path)
        self.functions = {}
        self.errors = []
        self.depths = {}
        self.read_code(path)
        self.read_symbols(path)
        self.read_frames()
        self.order = sorted(self.functions)
        self.link()

    def read_code(self, path):
        """Disassembles: calls, literal pools, prologues."""
        text = run(tool("llvm-objdump"), "-d", "-l", "-C", "--no-show-raw-insn", path)
        function, place = None, "?"
        for line in text.splitlines():
            head = re.match(r"^([0-9a-f]{8}) <(.*)>:$", line)
            if head:
                address = int(head[1], 16)
                function = self.functions[address] = Function(address, shorten(head[2]))
                continue
            if source := re.match(r"^; (.*\.rs:\d+)", line):
                place = re.sub(r"^.*/(registry/src/[^/]*|rustc/[0-9a-f]*|firmware)/", "", source[1])
                continue
            parts = line.split("\t")
            if function is None or len(parts) < 2:
                continue
            mnemonic = parts[1].strip()
            operands = parts[2] if len(parts) > 2 else ""
            self.read_instruction(function, parts[0], mnemonic, operands)
            for target in re.findall(r"0x([0-9a-f]+) <", operands):
                function.lines.setdefault(int(target, 16), place)

    @classmethod
    def read_instruction(cls, function, at, mnemonic, operands):
        """Notes what one instruction means for calls and stack."""
        target = re.match(r"(?:0x)?([0-9a-f]+) <", operands)
        text = f"{mnemonic}\t{operands.strip()}"
        if not function.falls_through and (cls.FILLER.match(text) or text == "mov\tr8, r8"):
            return
        # A call at the very end does not come back.
        function.falls_through = not (
            mnemonic in ("b", "bl", "bx", "udf", "bkpt", "trap") or mnemonic.startswith(".")
            or "pc" in re.sub(r"\[.*", "", operands)
        )
        if mnemonic == ".word":
            function.words[int(at.split(":")[0], 16)] = int(operands.split()[0], 16)
        elif cls.BRANCH.match(mnemonic):
            if target:
                function.calls.add(int(target[1], 16))
        elif mnemonic == "blx" or (mnemonic == "bx" and operands.strip() != "lr"):
            text = f"{at.strip()} {mnemonic} {operands}"
            function.through_pool.append((text, function.held.get(operands.strip())))
        elif mnemonic == "push":
            function.prologue += 4 * len(registers(operands))
        elif mnemonic == "sub" and (taken := re.match(r"sp, #(0x[0-9a-f]+|\d+)", operands)):
            function.prologue += int(taken[1], 0)
        elif mnemonic in ("add", "mov") and re.match(r"sp, (?!#|r7)", operands):
            function.unreadable = True
        cls.follow_registers(function, mnemonic, operands)

    @classmethod
    def follow_registers(cls, function, mnemonic, operands):
        """Notes which registers hold a word of the literal pool."""
        if pool := re.match(r"(r\d+), \[pc, .*@ 0x([0-9a-f]+)", operands):
            function.held[pool[1]] = int(pool[2], 16)
        elif mnemonic == "mov" and (copied := re.match(r"(r\d+), (r\d+)$", operands.strip())):
            function.held[copied[1]] = function.held.get(copied[2])
        elif mnemonic in ("bl", "blx"):
            for clobbered in ("r0", "r1", "r2", "r3", "r12"):
                function.held.pop(clobbered, None)
        elif mnemonic in ("pop", "ldm"):
            # What follows a return was jumped to from before it.
            for loaded in [] if "pc" in operands else registers(operands):
                function.held.pop(loaded, None)
        elif mnemonic not in cls.READING and (written := re.match(r"(r\d+)\b", operands)):
            function.held.pop(written[1], None)

    def read_symbols(self, path):
        """Sizes, and all names of each function."""
        self.symbols = {}
        text = run(tool("llvm-nm"), "--print-size", "--demangle", path)
        for row in text.splitlines():
            cells = row.split(maxsplit=3)
            if len(cells) == 3:
                self.symbols[cells[2]] = int(cells[0], 16)
            if len(cells) < 4 or not re.fullmatch("[0-9a-f]{8}", cells[1]):
                cells = [cells[0], "0", *row.split(maxsplit=2)[1:]]
            address, size, kind, name = cells
            self.symbols[name] = int(address, 16)
            function = self.functions.get(int(address, 16) & ~1)
            if function and kind in "tTwW":
                function.size = max(function.size, int(size, 16))
                function.names.add(shorten(name))

    def read_frames(self):
        """Frames from .stack_sizes: address, then ULEB128."""
        _, data = self.elf.bytes_of(".stack_sizes")
        at = 0
        while at + 4 < len(data):
            address = struct.unpack_from("<I", data, at)[0] & ~1
            at, size, shift = at + 4, 0, 0
            while True:
                byte = data[at]
                at += 1
                size |= (byte & 0x7F) << shift
                shift += 7
                if byte < 0x80:
                    break
            if address in self.functions:
                self.functions[address].frame = size
        for function in self.functions.values():
            if function.frame is None and not function.unreadable:
                function.frame = function.prologue

    def holder(self, address):
        """The function that a branch target lies in."""
        place = bisect.bisect_right(self.order, address)
        return self.order[place - 1] if place else None

    def link(self):
        """Turns branch targets, literal pools and falling through into calls."""
        for place, within in enumerate(self.order):
            function = self.functions[within]
            calls = {self.holder(a) for a in function.calls} - {None}
            # A branch into oneself is a loop; only a call to one's start recurses.
            if within in calls and within not in function.calls:
                calls.discard(within)
            if function.falls_through and place + 1 < len(self.order):
                calls.add(self.order[place + 1])
            for text, pool in function.through_pool:
                word = function.words.get(pool, 0)
                if word & 1 and word & ~1 in self.functions:
                    calls.add(word & ~1)
                else:
                    function.indirect.append(text)
            if function.indirect:
                self.errors.append(f"indirect call in {function.name}: {function.indirect[0]}")
            function.calls = calls
        self.errors += [
            f"frame cannot be read: {f.name}" for f in self.functions.values() if f.frame is None
        ]

    def deepest(self, address, above=()):
        """Deepest chain from a function down: total and frames."""
        if address in self.depths:
            return self.depths[address]
        function = self.functions[address]
        if address in above:
            self.errors.append(f"recursion through {function.name}")
            return 0, []
        below = [self.deepest(call, (*above, address)) for call in function.calls]
        depth, chain = max(below, key=lambda b: b[0], default=(0, []))
        frame = function.frame or 0
        self.depths[address] = frame + depth, [(frame, function.name), *chain]
        return self.depths[address]

    def unforgiven(self, not_followed):
        """Errors, but for those of functions in `not_followed`."""
        return [
            error
            for error in dict.fromkeys(self.errors)
            if not any(f"in {n}:" in error or error.endswith(f"through {n}") for n in not_followed)
        ]

    def named(self, pattern):
        """Functions that have a name like `pattern`."""
        found = re.compile(pattern)
        return [f for f in self.functions.values() if any(map(found.search, f.names))]

    def runtime_bytes(self):
        """Bytes of the compiler's own routines: copying, division."""
        names = re.compile(r"compiler_builtins|^__|^mem(cpy|set|move|cmp)")
        return sum(f.size for f in self.functions.values() if names.search(f.name))

    def panics(self):
        """(source line of the call, caller, panic routine) for each panic left in."""
        for function in self.functions.values():
            for call, line in sorted(function.lines.items()):
                name = self.functions[call].name if call in self.functions else ""
                if "panic" in name and "panic" not in function.name:
                    yield line, function.name, name
