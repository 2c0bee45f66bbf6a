"""Which known ROM is this, what is its header, what CPU is it for?"""
