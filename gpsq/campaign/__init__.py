"""What the person wrote beside the recordings, and how it is kept: campaign file, start log, flags."""
