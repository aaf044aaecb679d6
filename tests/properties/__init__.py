"""What must hold of a judgement whatever the start."""
