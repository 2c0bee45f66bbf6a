"""Computer boards: sockets, links, glue gates, the other devices on the data bus, and the bus cycles of CPUs."""
