"""Opcode tables, line by line against independent disassemblers.

capstone (6502, 6800, 6809, 68000, 8086) and GNU objdump of Debian's binutils-z80 (Z80) must read every line as one
whole instruction, with our mnemonic and our registers in our order.
"""

import re
import subprocess

import pytest
from conftest import require

from romwright.recognition.opcodes import TABLES, instructions

NUMBER = re.compile(r"#?-?(?:0x[0-9a-f]+|\$[0-9a-f]+(?:\.l)?|\b\d+\b)")
NOT_REGISTERS = {"n", "nn", "zp", "d", "byte", "word", "dword", "ptr", "far", "short"}
# Our word, where capstone has another for the same instruction.
ALIAS = {"jnz": "jne", "jz": "je", "jnc": "jae", "jc": "jb", "jpo": "jnp", "retf": "retf", "jmp": "ljmp", "oraa": "ora"}
POSTBYTE = {"tfr", "leax", "leas", "leau", "pshs", "puls"}  # the byte that follows says which registers
STRINGS = {"stosb", "stosw", "lodsb", "lodsw", "rep"}  # capstone spells out the registers they imply

pairs = [(cpu, one) for cpu in TABLES if cpu != "Z80/8080" for one in instructions(cpu)]


def sample(one):
    """The instruction with 12h for its operands, 10h for a distance."""
    return one.code + b"".join(b"\0" * (s - 1) + b"\x10" if x == "r" else b"\x12" * s for x, s in one.operands)


def registers(operands):
    words = re.findall(r"[a-z]+\d?", NUMBER.sub("", operands.lower()))
    return [word for word in words if word not in NOT_REGISTERS]


@pytest.mark.parametrize(("cpu", "one"), pairs, ids=[f"{cpu} {one.name}" for cpu, one in pairs])
def test_capstone_reads_the_line_alike(cpu, one):
    cs = pytest.importorskip("capstone", reason="needs the Python package capstone")
    reader = cs.Cs(*{
        "6502": (cs.CS_ARCH_MOS65XX, cs.CS_MODE_MOS65XX_6502),
        "6800": (cs.CS_ARCH_M680X, cs.CS_MODE_M680X_6800),
        "6809": (cs.CS_ARCH_M680X, cs.CS_MODE_M680X_6809),
        "68000": (cs.CS_ARCH_M68K, cs.CS_MODE_BIG_ENDIAN | cs.CS_MODE_M68K_000),
        "8086": (cs.CS_ARCH_X86, cs.CS_MODE_16),
    }[cpu])  # fmt: skip
    (read,) = reader.disasm(sample(one), 0x1000)
    assert len(read.bytes) == one.length
    word, _, operands = one.name.lower().partition(" ")
    theirs = read.mnemonic.split()[0]
    if cpu == "68000":  # it writes .b for a short branch, and a size where ours leaves it out
        word, theirs = word.replace(".s", ".b"), theirs if "." in word else theirs.split(".")[0]
    assert theirs in (word, ALIAS.get(word))
    if word not in POSTBYTE | STRINGS:
        assert registers(operands) == registers(read.op_str)


@pytest.mark.parametrize("one", instructions("Z80/8080"), ids=lambda one: one.name)
def test_objdump_reads_the_z80_line_alike(one, tmp_path):
    require("z80-unknown-coff-objdump", "binutils-z80")
    (tmp_path / "code").write_bytes(sample(one))
    line = ["z80-unknown-coff-objdump", "-Dz", "-b", "binary", "-m", "z80", "code"]
    read = subprocess.run(line, cwd=tmp_path, capture_output=True, text=True, check=True).stdout.splitlines()[-1]
    _, code, text = read.split("\t")
    assert bytes.fromhex(code) == sample(one)
    word, _, operands = one.name.lower().partition(" ")
    theirs, _, their_operands = text.strip().partition(" ")
    assert theirs == word and registers(operands) == registers(their_operands)
    if word == "im":
        assert operands == their_operands.strip()


@pytest.mark.parametrize("cpu", TABLES)
def test_likelihoods_add_up_and_no_code_comes_twice(cpu):
    table = instructions(cpu)
    assert sum(one.likelihood for one in table) == pytest.approx(1)
    assert len({one.code for one in table}) == len(table)


@pytest.mark.parametrize("cpu", TABLES)
def test_jumps_have_somewhere_to_go(cpu):
    for one in instructions(cpu):
        assert not one.flow or one.flow == "end" or one.operands[0][0] in "ars", one
