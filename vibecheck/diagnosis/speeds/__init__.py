"""How fast everything turned in every take, told by the sound itself."""
