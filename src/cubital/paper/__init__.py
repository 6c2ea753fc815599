"""Paper: specimen labels, the collector's sheet and wall cards, as PDF; needs the extra `paper`."""
