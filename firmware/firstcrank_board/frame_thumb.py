"""CRC-32 and byte stuffing in inline Thumb assembler, for frames. In a file of their own, see fold_thumb.py.

Their plain twins are framing.crc_into and stuff.stuff.
"""

import micropython


@micropython.asm_thumb
def crc_into(r0, r1, r2):
    """crc_into(data, length, table): CRC-32/ISO-HDLC of data[:length], stored little-endian behind it. Nothing is allocated."""
    mov(r3, 0)
    mvn(r3, r3)
    add(r1, r0, r1)
    mov(r6, 255)
    cmp(r0, r1)
    bcs(DONE)
    label(NEXT)
    ldrb(r4, [r0, 0])
    add(r0, 1)
    eor(r4, r3)
    and_(r4, r6)
    mov(r5, 2)
    lsl(r4, r5)
    add(r4, r4, r2)
    ldr(r4, [r4, 0])
    mov(r5, 8)
    lsr(r3, r5)
    eor(r3, r4)
    cmp(r0, r1)
    bcc(NEXT)
    label(DONE)
    mvn(r3, r3)
    mov(r5, 8)
    strb(r3, [r0, 0])
    lsr(r3, r5)
    strb(r3, [r0, 1])
    lsr(r3, r5)
    strb(r3, [r0, 2])
    lsr(r3, r5)
    strb(r3, [r0, 3])


@micropython.asm_thumb
def stuff(r0, r1, r2):
    """stuff(source, length, target): COBS of source[:length] and the closing zero; returns the length. See stuff.stuff."""
    add(r1, r0, r1)  # end
    mov(r5, r2)  # where the running length code goes
    mov(r4, r2)
    add(r4, 1)
    mov(r3, 1)  # the running length code
    cmp(r0, r1)
    bcs(DONE)
    label(NEXT)
    ldrb(r6, [r0, 0])
    add(r0, 1)
    cmp(r6, 0)
    beq(CLOSE)
    strb(r6, [r4, 0])
    add(r4, 1)
    add(r3, 1)
    cmp(r3, 255)
    beq(FULL)
    cmp(r0, r1)
    bcc(NEXT)
    b(DONE)
    label(FULL)
    cmp(r0, r1)
    bcs(DONE)
    label(CLOSE)
    strb(r3, [r5, 0])
    mov(r5, r4)
    add(r4, 1)
    mov(r3, 1)
    cmp(r0, r1)
    bcc(NEXT)
    label(DONE)
    strb(r3, [r5, 0])
    mov(r6, 0)
    strb(r6, [r4, 0])
    add(r4, 1)
    sub(r0, r4, r2)
