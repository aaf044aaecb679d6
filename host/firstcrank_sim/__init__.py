"""The simulated vehicle: a starting circuit, faults by name, and a board that runs the firmware's own code.

A package beside the product, which reaches it by entry points alone (`firstcrank.links`: sim:NAME; `firstcrank.commands`).
It needs the extra `sim`.

    from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate, simulate_many
    from firstcrank_sim.board.to_trace import to_trace
    from firstcrank_sim.board.simulated_board import open_sim
    from firstcrank_sim.evaluate.grading import grade

    truth = simulate("healthy", seed=1)      true voltages of every point, true phases, crank and dropouts (vehicle/truth.py)
    trace = to_trace(truth)                  the same start as a Trace, through input network, converter and fold
    grade(truth, limits)                     the expected verdict, from the circuit: "PASS", "FAIL", "NEAR", "NO VERDICT"
    truth.context                            what the user would have answered, ready for the judge
    link = open_sim("feed_dead_in_start,seed=3")    a Link, usable wherever a port is

Everything here is invented and labelled synthetic. What is true comes from the circuit, never from the judge.
"""
