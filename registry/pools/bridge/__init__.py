"""Between the stored pools and the genetics."""
