"""From the bytes of a gauge to values, without a port and without a clock.

Bytes are pushed in; values, noise and broken-off frames come out, each with the very bytes that it
was made of. The rooms of this package:

- `base`: what a decoder is and what it gives (`Value`, `Noise`, `Partial`, `Decoder`)
- `driver`: a driver file, checked, and its decoder (`load_driver`, `check_examples`, `Driver`)
- `line`, `bcd52`, `bcd28`, `scale24`, `scale48`, `registers`: the codecs, one module each; `codecs`
  lists them; `bulk`: recordings decoded at once, in columns
- `segments`: cuts a byte stream at its ends of line, whatever the chunks; `framed`: finds frames
  that show by themselves where they begin; `bits`: the bit line of the clocked codecs;
  `settings`: what the ``[frame]`` tables of all codecs share
- `bridge`: several clocked gauges on one port (`BridgeDecoder`); `bridge_lines`: one line of it
- `vcd`: turns a logic capture (IEEE 1364) into the bit line

Nothing is imported here, so that a program that only needs `base` starts quickly.
"""
