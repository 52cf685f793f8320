
    
            var gpsq_map = L.map(
                "gpsq_map",
                {
                    center: [0.0, 0.0],
                    crs: L.CRS.EPSG3857,
                    ...{
  "zoom": 10,
  "zoomControl": false,
  "preferCanvas": true,
  "zoomSnap": 0.25,
  "attributionControl": false,
}

                }
            );
            L.control.zoom( { position: "topright" } ).addTo(gpsq_map);

            

        