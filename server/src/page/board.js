// Shows each picture of the session as text; what people typed is only ever set as text, never as markup.
export function show(picture) {
  document.getElementById("line").textContent = picture.line;
  const rows = picture.stations.map((station) => {
    const row = document.createElement("tr");
    for (const text of [station.seat, station.name, station.says, station.presence_says]) {
      row.insertCell().textContent = text;
    }
    return row;
  });
  document.getElementById("stations").replaceChildren(...rows);
}

export function follow() {
  new EventSource("live").onmessage = (event) => show(JSON.parse(event.data));
}

if (!document.body.dataset.leads) follow();
