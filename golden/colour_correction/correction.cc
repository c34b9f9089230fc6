<?xml version="1.0" encoding="UTF-8"?>
<!-- written by plateproof -->
<ColorCorrection xmlns="urn:ASC:CDL:v1.2" id="SF_0210.v003">
  <SOPNode>
    <Description>Working space: scene-linear light, BT.709 primaries, D65 white.</Description>
    <Slope>1.425637 1.583384 1.952504</Slope>
    <Offset>0 0 0</Offset>
    <Power>1 1 1</Power>
  </SOPNode>
  <SatNode>
    <Saturation>1</Saturation>
  </SatNode>
</ColorCorrection>
