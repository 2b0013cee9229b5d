"""What a review tells: verdicts, reasons, changes, measurements."""
