"""What is true now: readings, the 1-Wire reader, and whether a reading is believable."""
