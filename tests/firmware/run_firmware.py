"""Started by unix_board.py in the Linux interpreter: replaces `machine`, injects the clock, then runs main.py as shipped."""

import sys
import time

FOLDER, SCENARIO = sys.argv[1], sys.argv[2]
sys.path.insert(0, FOLDER)

import fake_machine  # noqa: E402

fake_machine.Board.scenario, _, extra = SCENARIO.partition("+")
if extra:
    import fake_spi

    fake_machine.SPI, fake_machine.Pin = fake_spi.SPI, fake_spi.Pin
    fake_spi.SPI.took_us = 400 if extra == "slow_spi" else 24
    fake_spi.SPI.there = extra != "silent_spi"
fake_machine.Board.lamp_file = FOLDER + "/lamp.txt"
sys.modules["machine"] = fake_machine


class Paced:
    """The injected clock: board time, held back so that it never runs faster than `pace` times real time."""

    @staticmethod
    def ticks_us():
        """Board time."""
        board = fake_machine.Board
        if board.began_us is not None and board.now_us & 0x3FF < 40:
            if board.real_began_us is None or board.real_began_us[0] != board.began_us:
                board.real_began_us = (board.began_us, time.ticks_us())
            ahead_us = (board.now_us - board.began_us) / board.pace - time.ticks_diff(time.ticks_us(), board.real_began_us[1])
            if ahead_us > 2000:
                time.sleep_us(int(ahead_us))
        return fake_machine.ticks_us()

    ticks_diff = staticmethod(fake_machine.ticks_diff)


import firstcrank_board.app  # noqa: E402
import firstcrank_board.board  # noqa: E402

firstcrank_board.board.Clock = Paced
firstcrank_board.board.STORED = {name: FOLDER + "/" + name + ".json" for name in firstcrank_board.board.STORED}
firstcrank_board.app.ALONE_AFTER_US = 20000  # this clock stands nearly still while nothing is sampled
firstcrank_board.board.CAPTURES = FOLDER + "/captures"
with open(FOLDER + "/main.py") as file:
    program = file.read()
exec(program)
