"""The command line: one thin function a verb, the demo, and the worked examples of `verify`."""
