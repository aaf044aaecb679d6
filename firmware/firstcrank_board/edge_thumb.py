"""Edges of the key feed and the packing of close-ups in inline Thumb assembler. In a file of their own, see fold_thumb.py.

Their twins are in edge_viper.py, with the same arguments and results; close_up.py and segment_twins.py define them.
"""

import micropython


@micropython.asm_thumb
def scan(r0):
    """scan(s): runs and edges of the key feed in one piece. `s` is rp2_service's state, whose first words are made for this.

    8 to 9 cycles a conversion where the feed stays on one side, about 60 where it crosses the trigger code at every conversion.
    """
    mov(r7, r0)
    ldr(r0, [r7, 0])  # where the next conversion of the feed lies
    ldr(r1, [r7, 4])  # end
    ldr(r2, [r7, 8])  # bytes from one to the next
    ldr(r3, [r7, 12])  # trigger
    ldr(r4, [r7, 20])  # run
    ldr(r6, [r7, 36])  # below
    cmp(r6, 0)
    bne(BELOW)
    cmp(r0, r1)
    bcs(END)
    ldrh(r5, [r0, 0])
    cmp(r5, r3)
    bcc(FALL)
    mov(r4, 0)
    str(r4, [r7, 28])  # the run that touches the bin's start is over
    add(r0, r0, r2)
    label(ABOVE)
    cmp(r0, r1)
    bcs(END)
    ldrh(r5, [r0, 0])
    cmp(r5, r3)
    bcc(FALL)
    add(r0, r0, r2)
    b(ABOVE)
    label(FALL)
    mov(r6, 1)
    str(r6, [r7, 36])
    ldr(r6, [r7, 56])
    sub(r6, r0, r6)
    add(r6, 1)  # twice the offset in conversions, and 1 for falling
    bl(NOTE)
    b(LOW)
    label(BELOW)
    cmp(r0, r1)
    bcs(END)
    ldrh(r5, [r0, 0])
    cmp(r5, r3)
    bcs(OVER)
    label(LOW)
    mov(r6, 0)
    str(r6, [r7, 40])
    label(RUNNING)
    add(r4, 1)
    add(r0, r0, r2)
    cmp(r0, r1)
    bcs(RUN_ENDS)
    ldrh(r5, [r0, 0])
    cmp(r5, r3)
    bcc(RUNNING)
    bl(ENDED)
    label(OVER)  # at or above the trigger, the recovery not yet confirmed
    mov(r4, 0)
    str(r4, [r7, 28])
    ldr(r6, [r7, 40])
    cmp(r6, 0)
    bne(SINCE)
    ldr(r6, [r7, 56])
    sub(r6, r0, r6)
    add(r6, 1)
    str(r6, [r7, 40])
    label(SINCE)
    ldr(r6, [r7, 16])  # trigger and hysteresis
    cmp(r5, r6)
    bcc(UNSURE)
    mov(r6, 0)
    str(r6, [r7, 36])
    ldr(r6, [r7, 40])
    sub(r6, 1)
    bl(NOTE)
    mov(r6, 0)
    str(r6, [r7, 40])
    add(r0, r0, r2)
    b(ABOVE)
    label(UNSURE)
    add(r0, r0, r2)
    b(BELOW)
    label(NOTE)  # r6 into the list of edges; r4 is kept
    push({r4})
    ldr(r5, [r7, 44])
    ldr(r4, [r7, 48])
    cmp(r5, r4)
    bcs(MISSED)
    ldr(r4, [r7, 52])
    add(r4, r4, r5)
    add(r4, r4, r5)
    add(r4, r4, r5)
    add(r4, r4, r5)
    str(r6, [r4, 0])
    add(r5, 1)
    str(r5, [r7, 44])
    pop({r4})
    bx(lr)
    label(MISSED)
    ldr(r5, [r7, 60])
    add(r5, 1)
    str(r5, [r7, 60])
    pop({r4})
    bx(lr)
    label(ENDED)  # r4 is a run that has ended, or reached the piece's end
    ldr(r6, [r7, 24])
    cmp(r4, r6)
    bls(SHORTER)
    str(r4, [r7, 24])
    label(SHORTER)
    ldr(r6, [r7, 28])
    cmp(r6, 0)
    beq(INSIDE)
    str(r4, [r7, 32])
    label(INSIDE)
    bx(lr)
    label(RUN_ENDS)
    bl(ENDED)
    label(END)
    str(r4, [r7, 20])


@micropython.asm_thumb
def pack(r0, r1, r2):
    """pack(source, target, groups): groups of eight 12-bit codes, 16 bytes, into 12 bytes. Both on a word. 4.5 cycles a code."""
    label(GROUP)
    data(2, 0xC878)  # ldmia r0!, {r3, r4, r5, r6}
    data(2, 0x0C1F, 0x033F, 0xB29B)  # lsrs r7, r3, 16; lsls r7, r7, 12; uxth r3, r3
    orr(r3, r7)
    data(2, 0x0C27, 0x033F, 0xB2A4)  # the same with r4
    orr(r4, r7)
    data(2, 0x0C2F, 0x033F, 0xB2AD)  # r5
    orr(r5, r7)
    data(2, 0x0C37, 0x033F, 0xB2B6)  # r6
    orr(r6, r7)
    data(2, 0x0627)  # lsls r7, r4, 24
    orr(r3, r7)
    data(2, 0x0A24, 0x042F)  # lsrs r4, r4, 8; lsls r7, r5, 16
    orr(r4, r7)
    data(2, 0x0C2D, 0x0236)  # lsrs r5, r5, 16; lsls r6, r6, 8
    orr(r5, r6)
    data(2, 0xC138)  # stmia r1!, {r3, r4, r5}
    sub(r2, 1)
    bne(GROUP)


@micropython.asm_thumb
def unpack(r0, r1, r2):
    """unpack(source, target, groups): undoes pack; `target` need lie on a halfword only."""
    label(GROUP)
    data(2, 0xC838)  # ldmia r0!, {r3, r4, r5}
    data(2, 0x051E, 0x0D36)  # lsls r6, r3, 20; lsrs r6, r6, 20
    strh(r6, [r1, 0])
    data(2, 0x021E, 0x0D36)  # lsls r6, r3, 8; lsrs r6, r6, 20
    strh(r6, [r1, 2])
    data(2, 0x0E1B, 0x0427, 0x0A3F)  # lsrs r3, r3, 24; lsls r7, r4, 16; lsrs r7, r7, 8
    orr(r3, r7)  # 24 bits of the second pair
    data(2, 0x051E, 0x0D36)
    strh(r6, [r1, 4])
    data(2, 0x0B1E)  # lsrs r6, r3, 12
    strh(r6, [r1, 6])
    data(2, 0x0C24, 0x062F, 0x0A3F)  # lsrs r4, r4, 16; lsls r7, r5, 24; lsrs r7, r7, 8
    orr(r4, r7)  # of the third
    data(2, 0x0526, 0x0D36)  # lsls r6, r4, 20; lsrs r6, r6, 20
    strh(r6, [r1, 8])
    data(2, 0x0B26)  # lsrs r6, r4, 12
    strh(r6, [r1, 10])
    data(2, 0x0A2D)  # lsrs r5, r5, 8: the fourth
    data(2, 0x052E, 0x0D36)  # lsls r6, r5, 20; lsrs r6, r6, 20
    strh(r6, [r1, 12])
    data(2, 0x0B2E)  # lsrs r6, r5, 12
    strh(r6, [r1, 14])
    add(r1, 16)
    sub(r2, 1)
    bne(GROUP)
