"""What a plan can and cannot tell, before any laboratory work."""
