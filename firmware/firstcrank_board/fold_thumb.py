"""Sum, lowest and highest of each channel in inline Thumb assembler: the inner loop of the fold on a chip. And its sleep.

In a file of its own because interpreters without the Thumb assembler (the Linux one) refuse even to compile it.
fold_viper.accumulate is its twin with the same argument and result; fold.py defines what both compute. The loop is unrolled, and its
rare branches with it: the assembler has no macros, and a jump there and back would cost more than it does.

About 7.75 CPU cycles a conversion (Cortex-M0+, code in RAM): one unsigned comparison tells that a code is neither a new lowest
nor a new highest, `code - lowest > highest - lowest`. Two conversions a word would take 5 where nothing changes, and with the
converter's noise, which makes new extremes all the time, as many as this does: counted, not built.
"""

import micropython


@micropython.asm_thumb
def accumulate(r0):
    """accumulate(p): sum, lowest, highest of each channel of each piece, as 32-bit words, piece after piece.

    The words of `p`: address of the codes; address of the results; conversions of a channel in a piece; channels; pieces. The first
    two and `pieces` are used up. No bounds are checked.
    """
    # r8 to r11 belong to the caller
    mov(r3, r8)
    mov(r4, r9)
    mov(r5, r10)
    mov(r6, r11)
    push({r3, r4, r5, r6})
    mov(r11, r0)
    ldr(r1, [r0, 4])
    mov(r8, r1)  # results
    label(PIECE)
    mov(r7, r11)
    ldr(r0, [r7, 0])
    ldr(r4, [r7, 8])  # samples
    ldr(r5, [r7, 12])  # channels
    mov(r9, r5)  # channels left
    add(r3, r5, r5)  # stride in bytes
    mul(r4, r3)  # bytes of all samples
    mov(r10, r4)
    add(r4, r4, r0)
    str(r4, [r7, 0])  # the next piece
    label(CHANNEL)
    push({r0})
    mov(r7, r10)
    add(r1, r0, r7)  # end
    mov(r2, 0)  # sum
    ldrh(r4, [r0, 0])  # lowest
    mov(r5, 0)  # highest - lowest
    # four at a time as long as four are left
    mov(r7, r1)
    sub(r7, r7, r3)
    sub(r7, r7, r3)
    sub(r7, r7, r3)
    mov(r1, r7)  # last start of a group of four lies below this
    cmp(r0, r1)
    bcs(SINGLES)
    label(FOUR)
    ldrh(r6, [r0, 0])
    add(r0, r0, r3)
    add(r2, r2, r6)
    sub(r7, r6, r4)
    cmp(r7, r5)
    bhi(SLOW1)
    label(BACK1)
    ldrh(r6, [r0, 0])
    add(r0, r0, r3)
    add(r2, r2, r6)
    sub(r7, r6, r4)
    cmp(r7, r5)
    bhi(SLOW2)
    label(BACK2)
    ldrh(r6, [r0, 0])
    add(r0, r0, r3)
    add(r2, r2, r6)
    sub(r7, r6, r4)
    cmp(r7, r5)
    bhi(SLOW3)
    label(BACK3)
    ldrh(r6, [r0, 0])
    add(r0, r0, r3)
    add(r2, r2, r6)
    sub(r7, r6, r4)
    cmp(r7, r5)
    bhi(SLOW4)
    label(BACK4)
    cmp(r0, r1)
    bcc(FOUR)
    label(SINGLES)
    add(r1, r1, r3)
    add(r1, r1, r3)
    add(r1, r1, r3)  # the true end
    cmp(r0, r1)
    bcs(CHANNEL_DONE)
    label(ONE)
    ldrh(r6, [r0, 0])
    add(r0, r0, r3)
    add(r2, r2, r6)
    sub(r7, r6, r4)
    cmp(r7, r5)
    bhi(SLOW5)
    label(BACK5)
    cmp(r0, r1)
    bcc(ONE)
    label(CHANNEL_DONE)
    mov(r7, r8)
    str(r2, [r7, 0])
    str(r4, [r7, 4])
    add(r5, r5, r4)
    str(r5, [r7, 8])
    add(r7, 12)
    mov(r8, r7)
    pop({r0})
    add(r0, 2)
    mov(r7, r9)
    sub(r7, 1)
    mov(r9, r7)
    cmp(r7, 0)
    beq(PIECE_DONE)
    b(CHANNEL)
    # a new extreme: r6 the code, r7 = code - lowest, r4 lowest, r5 highest - lowest
    label(SLOW1)
    cmp(r6, r4)
    bcc(LOW1)
    mov(r5, r7)
    b(BACK1)
    label(LOW1)
    add(r5, r5, r4)
    mov(r4, r6)
    sub(r5, r5, r4)
    b(BACK1)
    label(SLOW2)
    cmp(r6, r4)
    bcc(LOW2)
    mov(r5, r7)
    b(BACK2)
    label(LOW2)
    add(r5, r5, r4)
    mov(r4, r6)
    sub(r5, r5, r4)
    b(BACK2)
    label(SLOW3)
    cmp(r6, r4)
    bcc(LOW3)
    mov(r5, r7)
    b(BACK3)
    label(LOW3)
    add(r5, r5, r4)
    mov(r4, r6)
    sub(r5, r5, r4)
    b(BACK3)
    label(SLOW4)
    cmp(r6, r4)
    bcc(LOW4)
    mov(r5, r7)
    b(BACK4)
    label(LOW4)
    add(r5, r5, r4)
    mov(r4, r6)
    sub(r5, r5, r4)
    b(BACK4)
    label(SLOW5)
    cmp(r6, r4)
    bcc(LOW5)
    mov(r5, r7)
    b(BACK5)
    label(LOW5)
    add(r5, r5, r4)
    mov(r4, r6)
    sub(r5, r5, r4)
    b(BACK5)
    label(PIECE_DONE)
    mov(r7, r11)
    ldr(r0, [r7, 16])
    sub(r0, 1)
    str(r0, [r7, 16])
    beq(DONE)
    b(PIECE)
    label(DONE)
    pop({r3, r4, r5, r6})
    mov(r8, r3)
    mov(r9, r4)
    mov(r10, r5)
    mov(r11, r6)


@micropython.asm_thumb
def wait(r0, r1, r2, r3):
    """wait(index, since, blocks, most): sleeps until the ring's head is `blocks` further than `since`, through `most` interrupts.

    The interpreter, and with it USB's own work, stands still meanwhile. The port's own sleep (WFE behind an alarm) wakes itself at
    once and spins.
    """
    label(AGAIN)
    ldr(r4, [r0, 0])  # head
    sub(r4, r4, r1)
    bcs(NO_WRAP)
    ldr(r5, [r0, 8])  # capacity
    add(r4, r4, r5)
    label(NO_WRAP)
    cmp(r4, r2)
    bcs(DONE)
    cmp(r3, 0)
    beq(DONE)
    sub(r3, 1)
    wfi()
    b(AGAIN)
    label(DONE)
