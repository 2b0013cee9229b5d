"""What the bench says about a design: captures and readings beside what was predicted."""
