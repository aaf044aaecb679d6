"""The simulated bench: a vehicle's starting circuit, faults by name, and a board that runs the firmware's own code.

    from firstcrank.bench.scenarios import SCENARIOS, simulate, simulate_many
    from firstcrank.bench.to_trace import to_trace
    from firstcrank.bench.simulated_board import open_bench
    from firstcrank.bench.grading import grade

    truth = simulate("healthy", seed=1)      true voltages of every point, true phases, crank and dropouts (bench/truth.py)
    trace = to_trace(truth)                  the same start as a Trace, through input network, converter and fold
    grade(truth, limits)                     what the start deserves, from the circuit: "PASS", "FAIL", "NEAR", "NO VERDICT"
    truth.context                            what the user would have answered, ready for the judge
    link = open_bench("feed_dead_in_start,seed=3")    a Link, usable wherever a port is

Everything here is invented and labelled synthetic. What is true comes from the circuit, never from the judge.
"""
