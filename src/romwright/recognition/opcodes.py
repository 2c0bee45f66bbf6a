"""Instructions that programs start with, one table a CPU: what cpus.py expects to meet at a reset entry.

An entry is a pattern, the instruction, and how it goes on. In a pattern two hex digits are that very byte; `n8`, `n16`,
`n32` are any bytes; `r8`, `r16` are distances and `a16`, `a32` addresses to go to, in the CPU's byte order; `s32` is an
8086 far address. `goto` follows the address, `call` comes back, `end` leaves. `*` marks what is common in the first
instructions after a reset (experience, no source).

The codes were written from memory, then checked: every entry is read by an independent disassembler (capstone; GNU
objdump for the Z80) in tests/recognition/test_opcodes.py.
"""

from __future__ import annotations

import re
from functools import cache

from msgspec import Struct

TABLES = {
    "Z80/8080": """
        F3 DI *; FB EI; 31 n16 LD SP,nn *; C3 a16 JP goto *; CD a16 CALL call *; 3E n8 LD A,n *; D3 n8 OUT (n),A *
        AF XOR A *; 21 n16 LD HL,nn *; 11 n16 LD DE,nn; 01 n16 LD BC,nn; ED B0 LDIR *; ED 56 IM 1 *; ED 5E IM 2 *
        ED 46 IM 0; ED 47 LD I,A; 32 n16 LD (nn),A *; 22 n16 LD (nn),HL; 2A n16 LD HL,(nn); 3A n16 LD A,(nn)
        DB n8 IN A,(n) *; 18 r8 JR goto; 20 r8 JR NZ; 28 r8 JR Z; 30 r8 JR NC; 38 r8 JR C; 10 r8 DJNZ; C2 n16 JP NZ
        CA n16 JP Z; 77 LD (HL),A; 36 n8 LD (HL),n; 7E LD A,(HL); 23 INC HL; 2B DEC HL; 13 INC DE; 0B DEC BC
        78 LD A,B; B1 OR C; B7 OR A; 06 n8 LD B,n; 0E n8 LD C,n; 16 n8 LD D,n; 1E n8 LD E,n; 47 LD B,A; 4F LD C,A
        57 LD D,A; 5F LD E,A; FE n8 CP n; E6 n8 AND n; F6 n8 OR n; C5 PUSH BC; D5 PUSH DE; E5 PUSH HL; F5 PUSH AF
        C1 POP BC; D1 POP DE; E1 POP HL; F1 POP AF; DD 21 n16 LD IX,nn; FD 21 n16 LD IY,nn; ED 79 OUT (C),A
        ED 4F LD R,A; D9 EXX; 08 EX AF,AF'; 00 NOP; 05 DEC B; 0D DEC C; 3D DEC A; F9 LD SP,HL; EB EX DE,HL
        C9 RET end; E9 JP (HL) end; 76 HALT end; ED 45 RETN end; ED 4D RETI end""",
    "6502": """
        78 SEI *; D8 CLD *; A2 n8 LDX #n *; 9A TXS *; 4C a16 JMP goto *; 20 a16 JSR call *; A9 n8 LDA #n *
        A0 n8 LDY #n; 85 n8 STA zp *; 86 n8 STX zp; 84 n8 STY zp; 8D n16 STA nn *; 8E n16 STX nn; 8C n16 STY nn
        AD n16 LDA nn; A5 n8 LDA zp; A6 n8 LDX zp; A4 n8 LDY zp; AA TAX; A8 TAY; 8A TXA; 98 TYA; CA DEX; E8 INX
        C8 INY; 88 DEY; D0 r8 BNE; F0 r8 BEQ; 10 r8 BPL; 30 r8 BMI; 90 r8 BCC; B0 r8 BCS; 95 n8 STA zp,X
        9D n16 STA nn,X; 99 n16 STA nn,Y; 91 n8 STA (zp),Y; B1 n8 LDA (zp),Y; BD n16 LDA nn,X; B9 n16 LDA nn,Y
        EA NOP; 48 PHA; 68 PLA; 40 RTI end; 60 RTS end; 6C n16 JMP (nn) end; 58 CLI; 18 CLC; 38 SEC; 29 n8 AND #n
        09 n8 ORA #n; 49 n8 EOR #n; C9 n8 CMP #n; E0 n8 CPX #n; C0 n8 CPY #n; 2C n16 BIT nn; CD n16 CMP nn
        E6 n8 INC zp; C6 n8 DEC zp; EE n16 INC nn; CE n16 DEC nn; 0A ASL A; 4A LSR A; 69 n8 ADC #n""",
    "6800": """
        8E n16 LDS #nn *; 0F SEI *; CE n16 LDX #nn *; BD a16 JSR call *; 7E a16 JMP goto *; 86 n8 LDAA #n *
        C6 n8 LDAB #n *; B7 n16 STAA nn *; F7 n16 STAB nn; 97 n8 STAA zp *; D7 n8 STAB zp; 7F n16 CLR nn *
        6F n8 CLR n,X; 4F CLRA *; 5F CLRB; 08 INX; 09 DEX; 26 r8 BNE; 27 r8 BEQ; 20 r8 BRA goto; 8D r8 BSR call
        24 r8 BCC; 25 r8 BCS; 2A r8 BPL; 2B r8 BMI; 8C n16 CPX #nn; A7 n8 STAA n,X; E7 n8 STAB n,X; A6 n8 LDAA n,X
        E6 n8 LDAB n,X; B6 n16 LDAA nn; F6 n16 LDAB nn; 96 n8 LDAA zp; D6 n8 LDAB zp; FF n16 STX nn *; DF n8 STX zp
        FE n16 LDX nn; DE n8 LDX zp; BE n16 LDS nn; 9E n8 LDS zp; 01 NOP; 3B RTI end; 39 RTS end; 6E n8 JMP n,X end
        0E CLI; 36 PSHA; 37 PSHB; 81 n8 CMPA #n; C1 n8 CMPB #n; 84 n8 ANDA #n; 8A n8 ORAA #n; 85 n8 BITA #n; 4A DECA
        5A DECB; 4C INCA; 5C INCB; 43 COMA; 16 TAB; 17 TBA; 06 TAP; 35 TXS; 7C n16 INC nn; 7D n16 TST nn""",
    "6809": """
        1A n8 ORCC #n *; 10 CE n16 LDS #nn *; 1F 8B TFR A,DP *; 1F n8 TFR; 8E n16 LDX #nn *; 10 8E n16 LDY #nn *
        CE n16 LDU #nn *; CC n16 LDD #nn *; BD a16 JSR call *; 7E a16 JMP goto *; 86 n8 LDA #n *; C6 n8 LDB #n *
        B7 n16 STA nn *; F7 n16 STB nn; 97 n8 STA zp *; D7 n8 STB zp; FD n16 STD nn; DD n8 STD zp; BF n16 STX nn
        9F n8 STX zp; 7F n16 CLR nn *; 0F n8 CLR zp *; 4F CLRA *; 5F CLRB; 6F 80 CLR ,X+; 6F 84 CLR ,X
        A7 80 STA ,X+; E7 80 STB ,X+; ED 81 STD ,X++; A6 80 LDA ,X+; A7 84 STA ,X; A6 84 LDA ,X; A7 C0 STA ,U+
        A7 A0 STA ,Y+; A6 C0 LDA ,U+; ED C1 STD ,U++; 30 n8 LEAX; 32 n8 LEAS; 33 n8 LEAU; 8C n16 CMPX #nn
        10 8C n16 CMPY #nn; 11 83 n16 CMPU #nn; 31 3F LEAY -1,Y; 26 r8 BNE; 27 r8 BEQ; 20 r8 BRA goto
        8D r8 BSR call; 16 r16 LBRA goto *; 17 r16 LBSR call *; 24 r8 BCC; 25 r8 BCS; 2A r8 BPL; 2B r8 BMI
        B6 n16 LDA nn; F6 n16 LDB nn; BE n16 LDX nn; FE n16 LDU nn; FC n16 LDD nn; 96 n8 LDA zp; D6 n8 LDB zp
        12 NOP; 1C n8 ANDCC #n *; 34 n8 PSHS; 35 n8 PULS; 81 n8 CMPA #n; C1 n8 CMPB #n; 84 n8 ANDA #n; 8A n8 ORA #n
        85 n8 BITA #n; 4A DECA; 5A DECB; 4C INCA; 5C INCB; 43 COMA; 3A ABX; 3B RTI end; 39 RTS end
        6E 9F n16 JMP (nn) end; 0D n8 TST zp; 0C n8 INC zp""",
    "68000": """
        46 FC n16 MOVE #nn,SR *; 2E 7C n32 MOVEA.L #nn,A7 *; 4F F9 n32 LEA nn,A7 *; 4E 70 RESET *
        4E F9 a32 JMP goto *; 4E B9 a32 JSR call *; 60 00 r16 BRA.W goto *; 60 r8 BRA.S goto; 61 00 r16 BSR.W call *
        61 r8 BSR.S call; 4E FA r16 JMP d(PC) goto *; 4E BA r16 JSR d(PC) call *; 41 F9 n32 LEA nn,A0 *
        43 F9 n32 LEA nn,A1 *; 45 F9 n32 LEA nn,A2; 47 F9 n32 LEA nn,A3; 49 F9 n32 LEA nn,A4; 4B F9 n32 LEA nn,A5 *
        4D F9 n32 LEA nn,A6; 41 FA n16 LEA d(PC),A0; 43 FA n16 LEA d(PC),A1; 13 FC n16 n32 MOVE.B #n,nn *
        33 FC n16 n32 MOVE.W #n,nn *; 23 FC n32 n32 MOVE.L #n,nn *; 13 C0 n32 MOVE.B D0,nn; 33 C0 n32 MOVE.W D0,nn
        23 C0 n32 MOVE.L D0,nn; 10 39 n32 MOVE.B nn,D0; 30 39 n32 MOVE.W nn,D0; 20 39 n32 MOVE.L nn,D0
        42 39 n32 CLR.B nn; 42 79 n32 CLR.W nn; 42 B9 n32 CLR.L nn; 70 n8 MOVEQ #n,D0 *; 72 n8 MOVEQ #n,D1
        74 n8 MOVEQ #n,D2; 76 n8 MOVEQ #n,D3; 7E n8 MOVEQ #n,D7; 30 3C n16 MOVE.W #n,D0 *; 32 3C n16 MOVE.W #n,D1
        20 3C n32 MOVE.L #n,D0 *; 22 3C n32 MOVE.L #n,D1; 20 7C n32 MOVEA.L #n,A0 *; 22 7C n32 MOVEA.L #n,A1 *
        24 7C n32 MOVEA.L #n,A2; 2A 7C n32 MOVEA.L #n,A5; 2C 7C n32 MOVEA.L #n,A6; 51 C8 n16 DBRA D0 *
        51 C9 n16 DBRA D1; 66 r8 BNE; 67 r8 BEQ; 4E 71 NOP; 08 39 00 n8 n32 BTST #n,nn; 4A 39 n32 TST.B nn
        4A 79 n32 TST.W nn; 4A B9 n32 TST.L nn; 20 C0 MOVE.L D0,(A0)+; 30 C0 MOVE.W D0,(A0)+; 42 98 CLR.L (A0)+
        42 58 CLR.W (A0)+; 42 80 CLR.L D0; 42 40 CLR.W D0; 53 80 SUBQ.L #1,D0; B1 C9 CMPA.L A1,A0; 4E 60 MOVE A0,USP
        4E 73 RTE end; 4E 75 RTS end; 4E D0 JMP (A0) end; 0C 80 n32 CMPI.L #n,D0""",
    "8086": """
        FA CLI *; FC CLD *; EA s32 JMP FAR goto *; E9 r16 JMP goto *; EB r8 JMP SHORT goto *; E8 r16 CALL call *
        B8 n16 MOV AX,nn *; B9 n16 MOV CX,nn; BA n16 MOV DX,nn *; BB n16 MOV BX,nn; BC n16 MOV SP,nn *
        BD n16 MOV BP,nn; BE n16 MOV SI,nn; BF n16 MOV DI,nn; B0 n8 MOV AL,n *; B4 n8 MOV AH,n *; B1 n8 MOV CL,n
        B5 n8 MOV CH,n; 8E D8 MOV DS,AX *; 8E D0 MOV SS,AX *; 8E C0 MOV ES,AX *; 8E D2 MOV SS,DX; 8E DA MOV DS,DX
        8C C8 MOV AX,CS *; 33 C0 XOR AX,AX *; 31 C0 XOR AX,AX *; 31 D2 XOR DX,DX; 33 D2 XOR DX,DX; 31 FF XOR DI,DI
        33 FF XOR DI,DI; 33 DB XOR BX,BX; 2B C0 SUB AX,AX; 2B FF SUB DI,DI; 32 C0 XOR AL,AL; 30 C0 XOR AL,AL
        E6 n8 OUT n,AL *; E4 n8 IN AL,n *; EE OUT DX,AL; EC IN AL,DX; F3 AB REP STOSW *; F3 A5 REP MOVSW
        F3 AA REP STOSB; F3 A4 REP MOVSB; 75 r8 JNZ; 74 r8 JZ; 73 r8 JNC; 72 r8 JC; 79 r8 JNS; 7B r8 JPO; E2 r8 LOOP
        9E SAHF; 9F LAHF; 8B D8 MOV BX,AX; 8B F0 MOV SI,AX; 8B E0 MOV SP,AX; 1E PUSH DS; 06 PUSH ES; 0E PUSH CS
        1F POP DS; 07 POP ES; 50 PUSH AX; 51 PUSH CX; 52 PUSH DX; 53 PUSH BX; 56 PUSH SI; 57 PUSH DI; 58 POP AX
        3C n8 CMP AL,n; 0C n8 OR AL,n; 24 n8 AND AL,n; A8 n8 TEST AL,n; A2 n16 MOV (nn),AL; A3 n16 MOV (nn),AX
        A0 n16 MOV AL,(nn); A1 n16 MOV AX,(nn); D1 E8 SHR AX,1; D0 E8 SHR AL,1; 40 INC AX; 42 INC DX; 43 INC BX
        46 INC SI; 47 INC DI; 48 DEC AX; 49 DEC CX; AA STOSB; AB STOSW; AC LODSB; AD LODSW; 90 NOP
        66 BC n32 MOV ESP,nn; 66 BA n32 MOV EDX,nn; 66 31 C0 XOR EAX,EAX; F4 HLT end; FB STI; CD n8 INT; CB RETF end
        CF IRET end; C3 RET end""",
}
BIG_ENDIAN = frozenset({"6800", "6809", "68000"})
Z80_ONLY = (0xCB, 0xDD, 0xED, 0xFD, 0xD9, 0x08, 0x10, 0x18, 0x20, 0x28, 0x30, 0x38)  # unused by the 8080; from memory
LIKELIER = 4  # how much likelier a `*` instruction is taken to be than another
LINE = re.compile(r"((?:(?:[0-9A-F]{2}|[nra]\d+|s32) )+)(.+?)( goto| call| end)?( \*)?")


class Instruction(Struct, frozen=True):
    """One line of a table.

    `code` are the exact bytes at its start, `operands` the (letter, bytes) after them, `likelihood` its share of the
    instructions in the table.
    """

    code: bytes
    operands: tuple[tuple[str, int], ...]
    name: str
    flow: str
    likelihood: float

    @property
    def length(self) -> int:
        """Length in bytes."""
        return len(self.code) + sum(size for _, size in self.operands)


@cache
def instructions(cpu: str) -> tuple[Instruction, ...]:
    """Read the table of a CPU, the longest code first, so that the first line that fits is the one meant.

    >>> jump = next(i for i in instructions("6502") if i.name == "JMP")
    >>> jump.code.hex(), jump.operands, jump.flow, jump.length
    ('4c', (('a', 2),), 'goto', 3)
    """
    lines = [line.strip() for line in re.split(r"[;\n]", TABLES[cpu]) if line.strip()]
    parsed = [LINE.fullmatch(line) for line in lines]
    weights = [LIKELIER if match[4] else 1 for match in parsed]
    table = []
    for match, weight in zip(parsed, weights, strict=True):
        tokens = match[1].split()
        code = bytes.fromhex("".join(t for t in tokens if not t[0].islower()))
        operands = tuple((t[0], int(t[1:]) // 8) for t in tokens if t[0].islower())
        table.append(Instruction(code, operands, match[2], (match[3] or "").strip(), weight / sum(weights)))
    return tuple(sorted(table, key=lambda i: -len(i.code)))
