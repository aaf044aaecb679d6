"""The judge's parts one by one, called directly, at their borders: one value just inside and one just outside."""
