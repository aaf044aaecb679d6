"""Wire gauge, voltage drop of a feed, and what the terminals of an ignition switch do."""
