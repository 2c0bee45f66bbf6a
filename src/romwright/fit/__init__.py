"""Does this chip work in that socket, and with which wires?"""
