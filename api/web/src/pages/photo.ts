document.title ||= "Photo";
