interface Window { Plotly: any }
