"""Started by unix_board.py in the Linux interpreter: replaces `machine`, injects the clock, then runs main.py as shipped."""

import sys
from time import sleep_us, ticks_diff, ticks_us  # type: ignore[attr-defined]  # MicroPython's

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true

FOLDER, SCENARIO = sys.argv[1], sys.argv[2]
sys.path.insert(0, FOLDER)

if TYPE_CHECKING:
    from tests.firmware import fake_machine, fake_spi
else:
    import fake_machine

fake_machine.Board.scenario, _, extra = SCENARIO.partition("+")
sys.modules["machine"] = fake_machine
if extra:
    if not TYPE_CHECKING:
        import fake_spi
    sys.modules["machine"] = fake_spi
    fake_spi.SPI.took_us = 400 if extra == "slow_spi" else 24
    fake_spi.SPI.there = extra != "silent_spi"
fake_machine.Board.lamp_file = FOLDER + "/lamp.txt"


class Paced:
    """The injected clock: board time, held back so that it never runs faster than `pace` times real time."""

    @staticmethod
    def ticks_us() -> int:
        """Board time."""
        board = fake_machine.Board
        if board.began_us is not None and board.now_us & 0x3FF < 40:
            if board.real_began_us is None or board.real_began_us[0] != board.began_us:
                board.real_began_us = (board.began_us, ticks_us())
            ahead_us = (board.now_us - board.began_us) / board.pace - ticks_diff(ticks_us(), board.real_began_us[1])
            if ahead_us > 2000:
                sleep_us(int(ahead_us))
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
