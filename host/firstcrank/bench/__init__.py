"""The simulated bench: a vehicle's starting circuit, faults by name, and a board that runs the firmware's own code.

    start = simulate("healthy", seed=1)         a SimulatedStart: true voltages at any time, true times, true dropouts
    trace = to_trace(start)                     the same start as a Trace, through input network, converter and fold
    link = open_bench("feed_dead_in_start")     a Link, usable wherever a port is

Everything here is invented and labelled synthetic. What is true comes from the circuit, never from the judge.
"""
