"""What programs ask and say in a keeper's name: JSON under one path, with an OpenAPI document of its own."""

PATH = "/api/v1"
UPLOAD = f"{PATH}/lawns"
"""Where tables are sent; they may be larger than anything else that is read."""
