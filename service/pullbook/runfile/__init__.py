"""What a file says: bytes → named columns of numbers, or a refusal that says why and where."""
