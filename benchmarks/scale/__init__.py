"""What a large farm costs: photos by the thousand, records by the hundred thousand."""
