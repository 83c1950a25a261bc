"""Crews of companies and parks: their days planned and handed out, their visits, their clients."""
