"""What a keeper sees, wishes to be kept, and lets their own programs do."""
