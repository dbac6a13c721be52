"""The demo shop's gauges, simulated: pseudo-terminals that speak as gauges do. All of their data is invented."""
