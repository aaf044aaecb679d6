"""The board: input network, converter, fold, the firmware's own program, faults of link and solder."""
