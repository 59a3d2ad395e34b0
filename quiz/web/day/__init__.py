"""The table of a clinic day: eyes typed in, net worked out, rows sent to the accuracy log."""
